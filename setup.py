"""The compiled form of what steps from sample to sample: optional, the same is there in Python (`recursions.py`)."""

from setuptools import Extension, setup

CORE = Extension(
    "imufeedback._recursions",
    ["imufeedback/_recursions.c"],
    define_macros=[("Py_LIMITED_API", "0x030B0000")],  # one build serves every later Python
    py_limited_api=True,
    optional=True,  # without a compiler the install goes on
)

setup(ext_modules=[CORE], options={"bdist_wheel": {"py_limited_api": "cp311"}})
