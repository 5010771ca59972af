"""Windows that run for a while, and what that cost: each in a process of its own."""
