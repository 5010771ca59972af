"""``python -m imufeedback``."""

from imufeedback.cli import main

main()
