"""A ticket put into the fields in which a hand writes it."""

import re


def typed(ticket):
    """A ticket with its lines put into their three fields, as a hand writes it."""
    fields = {}
    for name, text in ticket.items():
        if name in ("right", "left"):
            sphere, cylinder, axis = re.fullmatch(r"(\S+) (\S+)(?: x (\S+))?", text).groups()
            fields |= {f"sphere_{name}": sphere, f"cylinder_{name}": cylinder}
            if axis:
                fields[f"axis_{name}"] = axis
        else:
            fields[name] = text
    return fields
