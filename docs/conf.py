"""How Sphinx builds these pages: `make docs`, offline, into build/docs."""

from truekev.version import __version__

project = "truekev"
author = "the truekev developers"
copyright = "the truekev developers, MIT licence"
release = version = __version__
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build"]
myst_heading_anchors = 3
smartquotes = False  # options keep their two hyphens
highlight_language = "text"
html_theme = "furo"
html_title = f"truekev {__version__}"
html_static_path = ["_static"]
html_css_files = ["bench_book.css"]
html_copy_source = False
html_show_sphinx = False
_PAPER = {"color-brand-primary": "#a3402a", "color-brand-content": "#a3402a", "color-background-primary": "#fbfaf6"}
html_theme_options = {"light_css_variables": _PAPER}
