"""Recordings judged again, one or many, and what a player or a coach reads of them."""
