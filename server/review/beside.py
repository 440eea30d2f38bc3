"""A bone of a person beside those of up to three animals, with the published signs in words.

For: looking, in the cabin and the lab. Not for: the answer; nothing on this page clears a bone.
"""

from __future__ import annotations

from flask import abort, request
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain.criteria import beside_human
from server.review import desk, drawings, words
from server.review.desk import pages


@pages.get("/beside")
@desk.needs_sign_in
def bones() -> Response:
    """The bones of which a human plate is drawn."""
    drawn = {element for form, element in knowledge().gallery.plates if form == "human"}
    return desk.page("beside_all", elements=[element for element in knowledge().elements if element in drawn])


@pages.get("/beside/<element>")
@desk.needs_sign_in
def beside(element: str) -> Response:
    """One bone; `?taxon=` puts that animal's form first."""
    taxon = knowledge().taxa.get(request.args.get("taxon", ""))
    found = beside_human(knowledge().gallery, knowledge().criteria, element, taxon.form if taxon else "")
    if found is None:
        abort(404)
    rows = [found.human, *found.animals]
    shown = [(row, drawings.plain(row), words.text(f"plate.{row.key}")) for row in rows]
    return desk.page("beside", element=element, shown=shown, criteria=found.criteria)
