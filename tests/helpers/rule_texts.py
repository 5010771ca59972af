"""Texts of rule sets that tests add their rules to."""

HEAD = """
format = 1
name = "mine"
title = "Mine"

[live]
min_slope = 0.06
dead_turn_deg = 3.0
dead_ms = 50.0
target_deg = 2.0
grow_deg = 1.0

[rep]
min_backswing_deg = 15.0
min_through_deg = 35.0
max_s = 25.0
"""
"""A rule set without a rule."""
