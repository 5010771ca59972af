"""The body as a picture: pelvis and legs from measured angles, as plain shapes that any painter can fill.

No Qt and no markup here: the windows paint the shapes, the report writes them as SVG, and both show the same figure.
"""
