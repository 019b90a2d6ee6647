"""What may stand on a page made from a learner's notebook.

nbgrader's own pages, feedback and formgrader alike, show a learner's Markdown
as it is, scripts included; in formgrader such a script would act in the
instructor's name. The two filters here take the place of nbconvert's in
`nbgrader_config.py` and let through only what a written answer needs. They also
keep paragraphs, headings and pictures, which nbconvert's own filter spells out
as text.
"""

from __future__ import annotations

import re
from html import escape
from pathlib import Path
from typing import Any

import nh3
from jinja2 import pass_context
from nbconvert.filters.markdown_mistune import InvalidNotebook, IPythonRenderer, MarkdownWithMath

TEMPLATES = Path(__file__).parent / "templates"
"""Our feedback page; listed before nbgrader's in `nbgrader_config.py`."""

TAGS = set(
    "a abbr b blockquote br caption code dd del details div dl dt em figcaption figure h1 h2 h3 h4 h5 h6 hr i "
    "img kbd li ol p pre s small span strong sub summary sup table tbody td th thead tr u ul".split()
)
ATTRIBUTES = {
    "*": {"class", "style", "title"},
    "a": {"href"},
    "img": {"src", "alt", "width", "height"},
    **{cell: {"colspan", "rowspan", "scope", "align"} for cell in ("td", "th")},
}
# What text and the frames of our own replies are drawn with; nothing that could lie over the page.
STYLES = set(
    "background-color border-left color float font-family font-size font-style font-weight height line-height "
    "margin max-width padding padding-left text-align text-decoration vertical-align white-space width".split()
)
# "sphere<cyl" opens no tag, and what follows it is not lost; a script is shown as it was typed.
_NO_TAG = re.compile(rf"<(?!/?(?:{'|'.join(sorted(TAGS))})(?:\s[^<>]*)?/?>)", re.IGNORECASE)
PICTURES = ("data:image/png;base64,", "data:image/jpeg;base64,", "data:image/gif;base64,")


def _harmless(tag: str, name: str, value: str) -> str | None:
    """The value of an attribute, or none where it would fetch something or run it."""
    if name == "href" and not value.startswith(("https://", "http://", "mailto:", "#")):
        return None
    # No picture from elsewhere, which would tell its host who looks at the page.
    if name == "src" and not value.startswith(PICTURES):
        return None
    return value


_CLEANER = nh3.Cleaner(
    tags=TAGS,
    attributes=ATTRIBUTES,
    attribute_filter=_harmless,
    filter_style_properties=STYLES,
    url_schemes={"http", "https", "mailto", "data"},
)


def cleaned(html: object) -> str:
    """HTML without scripts, frames, forms, handlers, or anything fetched from elsewhere."""
    text = html.decode("utf-8", "replace") if isinstance(html, bytes) else str(html)
    return _CLEANER.clean(_NO_TAG.sub("&lt;", text))


class _Written(IPythonRenderer):
    """A picture that did not come along leaves a word in its place, and takes no page with it."""

    def _embed_image_or_attachment(self, src: str) -> str:
        try:
            return super()._embed_image_or_attachment(src)
        except InvalidNotebook:
            return ""

    def image(self, text: str, url: str, title: str | None = None) -> str:
        if url.startswith("attachment:") and not self._embed_image_or_attachment(url):
            name = escape(url.removeprefix("attachment:")[:60])
            return (
                f"<em>(The picture {name} did not come with the notebook, or is none that can be shown.)</em>"
            )
        return super().image(text, url, title)


@pass_context
def markdown_cleaned(context: Any, source: str, cell: Any = None) -> str:
    """Markdown as clean HTML, with the pictures attached to its cell."""
    # nbconvert's own templates leave the cell in the context; a plain loop hands it over.
    cell = cell or context.get("cell", None) or {}
    renderer = _Written(
        escape=False,
        attachments=dict(cell.get("attachments", {})),
        anchor_link_text="",
        exclude_anchor_links=True,
    )
    return cleaned(MarkdownWithMath(renderer=renderer).render(source))
