"""Bluetooth LE: the only package that imports bleak, and the virtual sensors that stand in for real ones."""
