"""What may stand on a page made from a learner's notebook.

nbgrader's own pages, feedback and formgrader alike, show a learner's Markdown
as it is, scripts included; in formgrader such a script would act in the
instructor's name. The two filters here take the place of nbconvert's in
`nbgrader_config.py` and let through only what a written answer needs. They also
keep paragraphs, headings and pictures, which nbconvert's own filter spells out
as text.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bleach
from bleach.css_sanitizer import ALLOWED_CSS_PROPERTIES, CSSSanitizer
from jinja2 import pass_context
from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath

__all__ = ["TEMPLATES", "cleaned", "markdown_cleaned"]

TEMPLATES = Path(__file__).parent / "templates"
"""Our feedback page; listed before nbgrader's in `nbgrader_config.py`."""

TAGS = (
    "a abbr b blockquote br caption code dd del details div dl dt em figcaption figure h1 h2 h3 h4 h5 h6 hr i "
    "img kbd li ol p pre s small span strong sub summary sup table tbody td th thead tr u ul"
).split()
PICTURES = ("data:image/png;base64,", "data:image/jpeg;base64,", "data:image/gif;base64,")
# What the frames of our own replies are drawn with, beside bleach's list.
_FRAMES = ("border-left", "padding", "padding-left", "max-width", "margin")
_STYLES = CSSSanitizer(allowed_css_properties=[*ALLOWED_CSS_PROPERTIES, *_FRAMES])


def _allowed(tag: str, name: str, value: str) -> bool:
    if name in {"class", "style", "title"}:
        return True
    if tag == "a" and name == "href":
        return value.startswith(("https://", "http://", "mailto:", "#"))
    if tag == "img":
        # No picture from elsewhere, which would tell its host who looks at the page.
        return name in {"alt", "width", "height"} or (name == "src" and value.startswith(PICTURES))
    return tag in {"td", "th"} and name in {"colspan", "rowspan", "scope", "align"}


def cleaned(html: object) -> str:
    """HTML without scripts, frames, forms, handlers, or anything fetched from elsewhere."""
    text = html.decode("utf-8", "replace") if isinstance(html, bytes) else str(html)
    return bleach.clean(
        text,
        tags=TAGS,
        attributes=_allowed,
        protocols=["http", "https", "mailto", "data"],
        css_sanitizer=_STYLES,
        strip=False,
    )


@pass_context
def markdown_cleaned(context: Any, source: str) -> str:
    """Markdown as clean HTML, with the pictures attached to its cell."""
    cell = context.get("cell", None) or {}
    renderer = IPythonRenderer(
        escape=False,
        attachments=dict(cell.get("attachments", {})),
        anchor_link_text="",
        exclude_anchor_links=True,
    )
    return cleaned(MarkdownWithMath(renderer=renderer).render(source))
