"""The review: sessions, reps beside each other, a figure of pelvis and thighs, playback, trends."""
