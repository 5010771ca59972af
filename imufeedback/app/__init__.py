"""The windows. The only package that imports PySide6 and pyqtgraph; `run` can be imported without either."""
