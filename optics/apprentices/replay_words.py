"""Words of the replay that go by the style of the lenses, and by what is wrong with the pair."""

from __future__ import annotations

from optics.specimens.briefs import (
    BIFOCAL,
    FRONT_BENT,
    PROGRESSIVE,
    SINGLE_VISION,
    SMEARED,
    TEMPLE_TWISTED,
    TRIFOCAL,
)

LOOKS = {
    SINGLE_VISION: "No line and no faint rings in either lens: single vision.",
    BIFOCAL: "One line round a segment in each lens: a bifocal.",
    TRIFOCAL: "Two lines in each lens, a strip between them: a trifocal.",
    PROGRESSIVE: "No line, but two faint rings 34 mm apart in each lens: a progressive.",
}
WHERE = {
    SINGLE_VISION: "Lay the {side} lens with its back on the stop, at the place that came noted with the job.",
    BIFOCAL: "Lay the {side} lens with its back on the stop, clear of the segment.",
    TRIFOCAL: "Lay the {side} lens with its back on the stop, clear of the segment.",
    PROGRESSIVE: "Find the two rings of the {side} lens and the sign, put the ink back from the chart of that sign, and lay the "
    "distance circle over the stop, back down.",
}
CENTRED = "Centre the {side} lens: back against the stop, the lines crossing in the smallest ring."
AWAY = "They cross away from the middle of the rings: there is prism at this place."
TAKEN_OUT = "They would leave the rings; {prism} on the compensator brings them back."
UNCLEAR = "{lines} are as clear as they become here, not quite sharp: the power changes across the stop."
NEAR_PLACE = {
    BIFOCAL: "the segment, a stop's width below its line,",
    TRIFOCAL: "the reading part, below the lower line,",
    PROGRESSIVE: "the near circle",
}
CONDITION_SEEN = {
    TEMPLE_TWISTED: "The temples do not lie in one plane, and one lens leans out of the other's.",
    FRONT_BENT: "From above, one side of the front stands forward or back of the other.",
    SMEARED: "Held to the light the lens shows a film of grease.",
}
