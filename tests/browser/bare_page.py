"""A panel on a bare page, without JupyterLab: what the page changes goes to the real widget and back."""

from __future__ import annotations

import json

PAGE = """<!doctype html><html lang="en"><title>panel</title>
<style>body {{ margin: 8px; font-family: sans-serif }} {css}</style><div id="el"></div></html>"""

MODEL = """
class Model {
  constructor(state) { this.state = state; this.heard = []; this.changed = {}; window.waiting = 0; }
  get(name) { return this.state[name]; }
  set(name, value) { this.state[name] = value; this.changed[name] = value; }
  save_changes() { const sent = this.changed; this.changed = {}; this.ask(window.change_traits(sent)); }
  send(content) { this.ask(window.send_message(content)); }
  async ask(answer) {
    window.waiting += 1;
    const state = await answer;
    const news = Object.keys(state).filter((k) => JSON.stringify(state[k]) !== JSON.stringify(this.state[k]));
    for (const name of news) this.state[name] = state[name];
    if (news.length) for (const heard of this.heard) heard();
    window.waiting -= 1;
  }
  on(_, heard) { this.heard.push(heard); }
  off(_, heard) { this.heard = this.heard.filter((other) => other !== heard); }
}
"""
NOT_SENT = ("_esm", "_css", "layout", "tabbable", "tooltip", "comm")


def show(page, widget) -> None:
    """Show a widget; every change on the page is made on the widget too."""

    def state():
        names = [
            name for name in widget.keys if name not in NOT_SENT and not name.startswith(("_model", "_view"))
        ]
        return {name: json.loads(json.dumps(getattr(widget, name), default=str)) for name in names}

    def change(values):
        for name, value in values.items():
            setattr(widget, name, value)
        return state()

    def message(content):
        widget._handle_custom_msg(content, [])
        return state()

    page.expose_function("change_traits", change)
    page.expose_function("send_message", message)
    module = widget._esm.replace("export default", "window.panel =") + MODEL
    module += f"window.model = new Model({json.dumps(state())});"
    module += "window.close_panel = window.panel.render({ model, el: document.getElementById('el') });"
    page.set_content(PAGE.format(css=widget._css))
    page.add_script_tag(type="module", content=module)
    page.wait_for_selector(".optics-panel")


def settle(page) -> None:
    """Wait until the widget has answered everything."""
    page.wait_for_function("() => window.waiting === 0")


def unnamed(page) -> list[str]:
    """Controls on the page that a screen reader would find no name for."""
    return page.evaluate(
        """() => [...document.querySelectorAll('input, button, select, textarea, svg[role=img]')]
        .filter((one) => one.getClientRects().length)
        .filter((one) => !(one.getAttribute('aria-label') || one.textContent.trim() || one.labels?.length))
        .map((one) => one.outerHTML.slice(0, 120))"""
    )


def too_wide(page) -> float:
    """How far the panel reaches beyond the page, CSS pixels."""
    return page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
