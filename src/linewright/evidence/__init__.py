"""What measurements say: the bench engine."""
