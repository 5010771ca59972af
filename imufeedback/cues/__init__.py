"""Findings and states to cues, and the sounds themselves as arrays. Pure: plays nothing, reads no clock."""
