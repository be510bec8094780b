"""The bench engine: what readings through cables say of each cable, each meter and each other."""
