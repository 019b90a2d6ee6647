"""Pairs of the open bench read off the picture by hand, the stage's places found by eye as well.

The bench stands on a bare page with the real widget behind it; nothing of the pair
is looked up. Whoever skips the eyepiece or forgets zero is told which.
"""

import re
from typing import ClassVar

import bare_page
import numpy as np
import pytest
from rule_on_the_tray import height_by_the_rule
from typed_ticket import typed

from optics import read_lens, settle
from optics.instrument.focimeter import FIELD
from optics.instrument.reader import sharpness
from optics.lens.prism import EYES
from optics.widgets.open_bench.open_bench import OpenBench

EYEPIECE = "Eyepiece dial, dioptres at the eye"
ACROSS = "Pair left or right; distance of the stop from the middle of the bridge"
UPWARD = "Pair down or up; height of the stop from the datum line"
COARSE, FINE = "Power drum, coarse", "Power drum, fine"
WHEEL = "Axis wheel, degrees"


class Hand:
    """A hand at the bench: keys, sliders and buttons, and the picture."""

    def __init__(self, page, seen, table):
        self.page, self.seen, self.table = page, seen, table
        bare_page.show(page, table.bench)
        page.wait_for_selector(".optics-bench[data-drawn]")
        self.unfold()

    def unfold(self):
        for fold in self.page.locator(".optics-bench-fold > summary").all():
            fold.click()

    def see(self, moves=(), **more):
        """Move controls, and look."""
        return self.seen(self.page, moves, **more)

    def press(self, name):
        self.page.get_by_role("button", name=name).click()

    def choose(self, name):
        self.page.get_by_label(name, exact=True).check()

    def look(self, drum, wheel):
        return self.see([(FINE, round(drum, 2)), (WHEEL, round(wheel) or 180)], largest=128)

    def set_eyepiece(self):
        def rings(dial):
            whole = self.see([(EYEPIECE, dial)])
            size = whole.shape[0]
            return float(np.sum(np.diff(whole[: size // 4, size // 3 : size // 2], axis=0) ** 2))

        best = max(np.arange(5.0, -5.25, -0.25), key=rings)
        self.see([(EYEPIECE, best)])

    def sharpest(self, wheel, around, reach):
        """Where the lines are sharpest, from the plus side, first roughly and then closely."""
        for wide, step in ((reach, 0.25), (0.2, 0.05)):
            places = np.arange(around + wide, around - wide - step / 2, -step)
            around = max(places, key=lambda drum: sharpness(self.look(drum, wheel), wheel, FIELD))
        return float(around)

    def zero(self):
        """What the drum shows without a lens, the pair laid aside and back."""
        self.press("Lay the pair aside")
        shown = self.sharpest(180, 0.0, 1.0)
        self.press("Lay the pair back")
        return shown

    def lay(self, eye, side="Back (concave) side"):
        self.choose(side)
        self.choose("Right lens" if eye == "R" else "Left lens")
        bare_page.settle(self.page)

    def off(self):
        """How far the target lies off the middle: right and up, prism dioptres."""
        light = np.clip(self.see() ** 2 - 0.12, 0, None)
        places = np.linspace(-FIELD, FIELD, light.shape[0])
        return (light.sum(0) * places).sum() / light.sum(), -(light.sum(1) * places).sum() / light.sum()

    def centre(self):
        """Step the pair until the crossing stands in the middle."""
        for name, part in ((ACROSS, 0), (UPWARD, 1)) * 2:
            for way in (0.5, -0.5):
                now = abs(self.off()[part])
                for _ in range(14):
                    self.step(name, way)
                    before, now = now, abs(self.off()[part])
                    if now >= before:
                        self.step(name, -way)
                        break
        self.settle()

    def settle(self):
        bare_page.settle(self.page)

    def step(self, name, way):
        self.page.get_by_label(name, exact=True).press("ArrowRight" if way > 0 else "ArrowLeft")

    def pd(self):
        return f"{abs(float(self.page.get_by_label(ACROSS, exact=True).input_value())):g}"

    def up_mm(self):
        return float(self.page.get_by_label(UPWARD, exact=True).input_value())

    def note(self, lines, lens):
        self.look(lens.sphere_lines if lines == "sphere" else lens.cylinder_lines, lens.wheel)
        self.press(f"Note a reading of the {lines} lines")

    def read(self, eye, zero=0.0):
        """Both powers at the middle of the lens, noted on the pad; the line of the ticket."""
        lens = read_lens(self.look, half_width=FIELD)
        for lines in ("sphere", "cylinder"):
            self.note(lines, lens)
        line = settle(
            type(lens.power).from_sphere_cylinder(lens.sphere_lines - zero, lens.cylinder, lens.wheel)
        )
        return lens, str(line.choice)

    def ask(self, ticket):
        bare_page.settle(self.page)
        self.table.ticket.typed = typed(ticket)
        self.table.ask()
        return " ".join(re.sub("<[^>]+>", " ", self.table.outcome.value).split())


class Mouse(Hand):
    """The same hand with a mouse: it drags and it turns the wheel, and never touches a key."""

    FACES: ClassVar = {
        COARSE: ".optics-bench-scale >> nth=0",
        FINE: ".optics-bench-scale >> nth=1",
        WHEEL: ".optics-ring",
    }
    again = 0

    def see(self, moves=(), **more):
        for name, value in moves:
            self.turn(name, value)
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        return self.seen(self.page, **more)

    def stands(self, name):
        return float(self.page.get_by_label(name, exact=True).input_value())

    def face(self, name):
        """The middle of what is taken hold of, and its width."""
        found = (
            self.page.locator(self.FACES[name])
            if name in self.FACES
            else self.page.get_by_label(name, exact=True).locator("..")
        )
        box = found.bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, box["width"]

    def drag(self, begin, end):
        self.page.mouse.move(*begin)
        self.page.mouse.down()
        self.page.mouse.move(*end, steps=3)
        self.page.mouse.up()

    def notch(self, name, notches):
        x, y, wide = self.face(name)
        # The ring's middle is the picture.
        self.page.mouse.move(x + (0.38 * wide if name == WHEEL else 0), y)
        for _ in range(abs(notches)):
            self.page.mouse.wheel(0, -100 if notches > 0 else 100)

    def turn(self, name, value):
        """Turn, look at the number, and turn again where a notch is missing, as a hand does."""
        for _ in range(4):
            if name == FINE:
                self.drum_to(value)
            elif name == WHEEL:
                self.wheel_to(value)
            else:
                self.notch(name, round((value - self.stands(name)) / (0.25 if name == EYEPIECE else 0.5)))
            for _ in range(12):
                if abs(self.stands(name) - value) < 1e-6:
                    return
                self.page.wait_for_timeout(25)
            self.again += 1
        raise AssertionError((name, value, self.stands(name)))

    def drum_to(self, value):
        """Coarse by a drag, fine by a drag, the last hundredths by the wheel of the mouse."""
        for name, units, reach in ((COARSE, 10, 0.6), (FINE, 96, 0.04)):
            for _ in range(6):  # a scale ends; a hand takes hold again
                by = value - self.stands(name)
                if abs(by) <= reach:
                    break
                x, y, wide = self.face(name)
                most = 0.45 * wide
                self.drag((x, y), (x - float(np.clip(by * units * wide / 240, -most, most)), y))
        self.notch(FINE, round((value - self.stands(FINE)) / 0.01))

    def wheel_to(self, value):
        by = (value - self.stands(WHEEL) + 90) % 180 - 90
        x, y, wide = self.face(WHEEL)
        if abs(by) > 4:
            ends = [np.deg2rad(at) for at in (20.0, 20.0 + by)]
            self.drag(*((x + 0.38 * wide * np.cos(at), y - 0.38 * wide * np.sin(at)) for at in ends))
        self.notch(WHEEL, round((value - self.stands(WHEEL) + 90) % 180 - 90))

    def step(self, name, way):
        """Half a millimetre: sideways by dragging the pair, up and down by the mouse's wheel over it."""
        box = self.page.locator(".optics-stage").bounding_box()
        x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"]
        if name == ACROSS:
            self.drag((x, y), (x + way * box["width"] / 120, y))
        else:
            self.page.mouse.move(x, y)
            self.page.mouse.wheel(0, -200 * way)
            self.page.wait_for_timeout(60)

    def over_the_bridge(self):
        """Drag the pair until the left lens lies over the stop."""
        box = self.page.locator(".optics-stage").bounding_box()
        x, y = box["x"] + 0.9 * box["width"], box["y"] + 0.5 * box["height"]
        self.drag((x, y), (x - 0.48 * box["width"], y))
        bare_page.settle(self.page)
        assert self.page.get_by_label("Left lens", exact=True).is_checked()


NAMED = """(name) => {
  const named = (one) => one.getAttribute("aria-label") || one.labels?.[0]?.textContent || one.textContent;
  const at = document.activeElement;
  if (named(at) === name) return "there";
  const wanted = [...document.querySelectorAll("input, button, select, textarea, summary")]
    .find((one) => named(one) === name && one.checkVisibility());
  if (!wanted) throw new Error(`nothing is named ${name}`);
  if (at.type === "radio" && at.name === wanted.name) return "beside";
  return at.compareDocumentPosition(wanted) & Node.DOCUMENT_POSITION_FOLLOWING ? "on" : "back";
}"""


class Keys(Hand):
    """The same hand on the keyboard alone: Tab finds every control, and no pointer is moved."""

    def __init__(self, page, seen):
        self.page, self.seen = page, seen
        self.pressed = 0

    def key(self, name, times=1):
        for _ in range(times):
            self.page.keyboard.press(name)
        self.pressed += times

    def go(self, name):
        keys = {"on": "Tab", "back": "Shift+Tab", "beside": "ArrowDown"}
        for _ in range(250):
            where = self.page.evaluate(NAMED, name)
            if where == "there":
                return
            self.key(keys[where])
        raise AssertionError(f"the keyboard never reaches {name!r}")

    def stands(self):
        return float(self.page.evaluate("() => document.activeElement.valueAsNumber"))

    def turn(self, name, value):
        sizes = {FINE: (0.05, 0.01), WHEEL: (5, 1), EYEPIECE: (1, 0.25)}.get(name, (5, 0.5))
        self.go(name)
        if name == FINE and abs(value - self.stands()) > 0.4:
            self.go(COARSE)
            self.strike(value, (1.0, 0.25))
            self.go(FINE)
        self.strike(value, sizes, round_again=180 if name == WHEEL else 0)
        assert self.stands() == pytest.approx(value, abs=1e-6), name

    def strike(self, value, sizes, round_again=0):
        for key, size in zip(("Page", "Arrow"), sizes, strict=True):
            by = value - self.stands()
            if round_again:
                by = (by + round_again / 2) % round_again - round_again / 2
            times = round(by / size)
            self.key(key + ("Up" if times > 0 else "Down"), abs(times))

    def see(self, moves=(), **more):
        for name, value in moves:
            self.turn(name, value)
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        return self.seen(self.page, **more)

    def press(self, name):
        self.go(name)
        self.key("Enter")

    def choose(self, name):
        self.go(name)
        self.settle()

    def settle(self):
        self.page.wait_for_timeout(400)  # the kernel answers, and the stage goes to where that lens lies

    def step(self, name, way):
        self.go(name)
        self.key("ArrowRight" if way > 0 else "ArrowLeft")

    def pd(self):
        self.go(ACROSS)
        return f"{abs(self.stands()):g}"

    def write(self, ticket):
        self.go("Lens style")
        self.page.keyboard.type(ticket["style"])
        for side in EYES.values():
            parts = re.fullmatch(r"(\S+) (\S+)(?: x (\S+))?", ticket[side]).groups("")
            fields = {
                **dict(zip(("Sphere", "Cylinder", "Axis"), parts, strict=True)),
                "PD, mm": ticket[f"pd_{side}"],
            }
            for label, text in fields.items():
                self.go(f"{side.capitalize()} lens, {label}")
                self.page.keyboard.type(text)
        self.page.wait_for_timeout(900)  # the ticket is read a moment after the last letter


def sit(page, seen, who=Hand, **chosen):
    return who(page, seen, OpenBench(difficulty=3, **chosen))


@pytest.mark.exhaustive
@pytest.mark.parametrize(("style", "line"), [("bifocal", "line"), ("trifocal", "upper line")])
def test_a_lined_pair_is_read_from_places_found_in_the_picture(page, seen, style, line):
    hand = sit(page, seen, style=style, seed=7, faults="none")
    hand.set_eyepiece()
    ticket = {"style": style}
    for eye, side in EYES.items():
        hand.lay(eye)
        lens, _ = hand.read(eye)
        hand.look(lens.sphere_lines, lens.wheel)
        hand.centre()
        ticket[f"pd_{side}"] = hand.pd()
        ticket[f"prism_{side}"] = "no prism"
        _, ticket[side] = hand.read(eye)
        # The front on the stop: distance, then down, past two lines, to where the power grows no more.
        hand.lay(eye, "Front (convex) side")
        lens = read_lens(hand.look, half_width=FIELD)
        far, top = lens.sphere_lines, hand.up_mm()
        read = []
        for down in (11.0, 14.0, 17.0):
            hand.seen(page, [(UPWARD, top + down)])
            read.append(hand.sharpest(lens.wheel, far + 1.25, 1.75))
        add = max(read) - far
        assert sorted(read)[-2] == pytest.approx(max(read), abs=0.15), "two places agree"
        ticket[f"add_{side}"] = f"+{round(add * 4) / 4:.2f}"
    # The tray comes last: a page that lies behind another draws nothing.
    tray = page.context.new_page()
    bare_page.show(tray, hand.table.view)
    for eye, side in EYES.items():
        ticket[f"height_{side}"] = f"{height_by_the_rule(tray, eye, float(ticket[f'pd_{side}']), line):g}"
    tray.close()
    print("\n", ticket, hand.table.specimen.ordered)
    assert "Right: everything on this ticket that is marked is what the pair is" in hand.ask(ticket)


@pytest.mark.exhaustive
def test_a_prism_is_read_on_the_rings_where_the_wearer_looks_through(page, seen):
    hand = sit(page, seen, style="single vision", seed=78, faults="none")
    note = re.search(r"at right ([\d.]+) mm and left ([\d.]+) mm", hand.table.told.value)
    hand.set_eyepiece()
    ticket = {"style": "single vision"}
    for (eye, side), pd_mm in zip(EYES.items(), map(float, note.groups()), strict=True):
        hand.lay(eye)
        hand.seen(page, [(ACROSS, pd_mm if eye == "R" else -pd_mm)])
        lens, ticket[side] = hand.read(eye)
        hand.look(lens.sphere_lines, lens.wheel)
        right, up = hand.off()
        base = "in" if (right > 0) == (eye == "R") else "out"
        ticket[f"prism_{side}"] = f"{round(abs(right) * 4) / 4:.2f} base {base}"
        ticket[f"pd_{side}"] = f"{pd_mm:g}"
        assert abs(up) < 0.4
    print("\n", ticket, hand.table.specimen.ordered)
    told = hand.ask(ticket)
    assert "Right: everything on this ticket that is marked is what the pair is" in told


@pytest.mark.exhaustive
def test_a_whole_pair_is_read_by_the_keyboard_alone(page, seen, lab):
    page.set_viewport_size({"width": 1366, "height": 768})
    lab.put(
        "keys.ipynb",
        [
            "from optics.lesson import *",
            "open_bench(style='single vision', difficulty=3, seed=11, faults='none')",
        ],
    )
    lab.open(page, "keys.ipynb")
    lab.run_all(page)
    for panel in ("pair", "bench", "ticket"):
        page.wait_for_selector(f".optics-{panel}[data-drawn]", timeout=60_000)
    page.evaluate(
        "() => { for (const each of ['pointerdown', 'pointermove', 'wheel']) addEventListener(each, () => (window.pointed = each), true); }"
    )
    page.get_by_label("Errand", exact=True).focus()
    hand = Keys(page, seen)
    hand.set_eyepiece()
    ticket = {"style": "single vision"}
    for eye, side in EYES.items():
        hand.choose("Right lens" if eye == "R" else "Left lens")
        lens, ticket[side] = hand.read(eye)
        hand.look(lens.sphere_lines, lens.wheel)
        hand.centre()
        ticket[f"pd_{side}"] = hand.pd()
    hand.write(ticket)
    hand.press("How did I do")
    print("\n", ticket, "keys pressed:", hand.pressed)
    told = page.get_by_text(re.compile("everything on this ticket|Look again at|cannot be read")).first
    told.wait_for(timeout=60_000)
    assert "Right: everything on this ticket that is marked is what the pair is" in told.inner_text()
    assert page.evaluate("() => window.pointed") is None


@pytest.mark.exhaustive
def test_a_pair_is_read_by_dragging_and_the_wheel_of_the_mouse(page, seen):
    page.set_viewport_size({"width": 1366, "height": 768})
    hand = sit(page, seen, Mouse, style="single vision", seed=11, faults="none")
    # The wheel of the mouse is the page's until the bench is in hand: take hold of the dial once.
    x, y, _ = hand.face(EYEPIECE)
    hand.drag((x, y), (x + 24, y))
    hand.set_eyepiece()
    ticket = {"style": "single vision"}
    for eye, side in EYES.items():
        if eye == "L":
            hand.over_the_bridge()
        lens, ticket[side] = hand.read(eye)
        hand.look(lens.sphere_lines, lens.wheel)
        hand.centre()
        ticket[f"pd_{side}"] = hand.pd()
    print("\n", ticket, hand.table.specimen.ordered, "turned again:", hand.again)
    told = hand.ask(ticket)
    assert "Right: everything on this ticket that is marked is what the pair is" in told
    assert hand.again <= 20


def test_fingers_turn_the_drum_and_the_ring_and_drag_the_pair(page, seen):
    hand = sit(page, seen, Mouse, style="single vision", seed=11, faults="none")
    fingers = page.context.new_cdp_session(page)
    fingers.send("Emulation.setTouchEmulationEnabled", {"enabled": True})

    def drag(begin, end):
        send = "Input.dispatchTouchEvent"
        places = np.linspace(begin, end, 9)
        for kind, (x, y) in zip(("touchStart", *["touchMove"] * 8), places, strict=True):
            fingers.send(send, {"type": kind, "touchPoints": [{"x": float(x), "y": float(y)}]})
        fingers.send(send, {"type": "touchEnd", "touchPoints": []})

    hand.drag = drag
    scrolled = page.evaluate("() => window.scrollY")
    for name, value, within in ((COARSE, -3.0, 0.06), (FINE, -3.4, 0.02), (FINE, -3.43, 0.011)):
        by, (x, y, wide) = value - hand.stands(name), hand.face(name)
        drag((x, y), (x - by * (10 if name == COARSE else 96) * wide / 240, y))
        assert hand.stands(FINE) == pytest.approx(value, abs=within)
    x, y, wide = hand.face(WHEEL)
    ends = [(x + 0.38 * wide * np.cos(at), y - 0.38 * wide * np.sin(at)) for at in np.deg2rad([20.0, 65.0])]
    drag(*ends)
    assert hand.stands(WHEEL) == pytest.approx(45, abs=2)
    before = hand.stands(ACROSS)
    hand.step(ACROSS, 6.0)
    assert hand.stands(ACROSS) == pytest.approx(before + 6.0, abs=0.5)
    hand.over_the_bridge()
    assert page.evaluate("() => window.scrollY") == scrolled


@pytest.mark.parametrize(
    ("skips", "name", "evidence"),
    [
        ("eyepiece", "eyepiece not set", "The eyepiece was not touched."),
        ("zero", "zero error not taken off", "The drum was not looked at without a lens."),
        ("nothing", "", ""),
    ],
)
@pytest.mark.exhaustive
def test_who_skips_the_eyepiece_or_zero_is_told_which(page, seen, skips, name, evidence):
    hand = sit(
        page, seen, style="single vision", seed=7, faults="none" if skips == "eyepiece" else "zero error"
    )
    ticket = {"style": "single vision"}
    if skips != "eyepiece":
        hand.set_eyepiece()
    zero = hand.zero() if skips == "nothing" else 0.0
    for eye, side in EYES.items():
        hand.lay(eye)
        _, ticket[side] = hand.read(eye, zero)
    told = hand.ask(ticket)
    print("\n", ticket, hand.table.specimen.ordered, hand.table.bench.settings)
    if skips == "nothing":
        assert "Habit" not in told and "sphere" not in told.split("Look again at")[-1].split(".")[0], told
    else:
        assert f"Habit: {name}." in told and evidence in told, told
