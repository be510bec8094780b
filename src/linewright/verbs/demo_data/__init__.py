"""The invented Harbour Ridge bench. Written by ``tools/make_demo_bench.py``; nothing in it was measured."""
