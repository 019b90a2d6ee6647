"""Names of the small course that tests of several rooms share; `conftest` makes the course itself."""

FORMS, BENCH = "91-forms", "92-bench"
CLASS = {
    "t101": "Mara Quillane",
    "t102": "Ämilis Von-Ester",
    "t103": "Corra Lindlow",
    "t104": "Corra Ann Lindlow",
    "t105": "Orwin Fenwold",
    "t106": "Orwin Fenwold",
}
