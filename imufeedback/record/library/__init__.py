"""All recordings of a folder: sidecar files beside each, and an index that can always be made again from them."""

from imufeedback.record.library.library import Library

__all__ = ["Library"]
