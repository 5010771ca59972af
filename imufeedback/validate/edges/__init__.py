"""Inputs and surroundings at the edges: what `validate --set edges` is made of."""
