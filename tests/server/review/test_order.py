"""Lists at the desk stand in the order of the words that are read, in the language that is shown; bodies, stages and
contexts keep their own."""

from __future__ import annotations

import re
from html import unescape

from fieldapp.assets import texts_in
from fieldapp.domain.alphabet import alphabetical
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.tablets import context_id

pytestmark = BOTH

TAXA = ("sheep", "goat", "elk", "red_deer", "eel", "cattle", "badger", "otter", "unheard_of")
"""In German "Aal, Dachs, Elch, Fischotter, Hausrind …": no order that the keys have."""


def beasts(scene: Scene) -> None:
    for n, taxon in enumerate(TAXA):
        where = context_id(scene.a.site, str(9 + n))
        scene.a.write("context", where, {"number": str(9 + n), "type": "layer", "phase": ("1", "2", "10")[n % 3]})
        scene.a.docket(f"beast {n}", reading=seen(taxon, "femur"), label=label("A", 50 + n), context=where, bag=None)
    scene.a.write("site", scene.a.site, {})
    pit = scene.cabin.ledger.record(context_id(scene.a.site, "1057"))
    assert pit is not None
    scene.a.write("context", pit.id, {"phase": "3"}, over={"phase": sorted(pit.heads["phase"])})
    scene.send()


def words_of(visitor: Visitor, page: str, language: str, pattern: str) -> list[str]:
    text = visitor.get(page, language=language).get_data(as_text=True)
    return [unescape(one).strip() for one in re.findall(pattern, text, re.S)]


def options(visitor: Visitor, page: str, language: str, name: str) -> list[str]:
    (inside,) = words_of(visitor, page, language, rf'<select[^>]* name="{name}"[^>]*>(.*?)</select>')
    return [one for one in re.findall(r'<option value="[^"]+"[^>]*>([^<]*)', inside)]


def test_dockets_by_animal_stand_in_the_order_of_the_language(scene: Scene) -> None:
    beasts(scene)
    her = scene.signed_in("zooarchaeologist")
    orders = {}
    for language in ("en", "de"):
        said = texts_in(language)
        names = sorted((said.get(f"taxon.{one}", one) for one in TAXA), key=alphabetical)
        for sort, wanted in (("taxon", names), ("-taxon", names[::-1])):
            page = f"/review/dockets?sort={sort}&find={said['element.femur'].split()[0]}"
            shown = her.get(page, language=language).get_data(as_text=True)
            at = [re.search(rf'data-head="[^"]*">\s*(?:<[^>]*>)*{re.escape(one)}\s*<', shown) for one in wanted]
            places = [one.start() for one in at if one]
            assert len(places) == len(TAXA), (language, [n for n, one in zip(wanted, at, strict=True) if not one])
            assert places == sorted(places), (language, sort)
        orders[language] = sorted(TAXA, key=lambda one: alphabetical(said.get(f"taxon.{one}", one)))
    assert orders["en"] != orders["de"] != sorted(TAXA)


def test_a_list_to_choose_from_is_alphabetical_and_what_has_an_order_keeps_it(scene: Scene) -> None:
    beasts(scene)
    her = scene.signed_in("zooarchaeologist")
    page = "/review/analysis/counts/pieces"
    for language in ("en", "de"):
        animals = options(her, page, language, "taxon")
        assert len(animals) > 8
        assert animals == sorted(animals, key=alphabetical)
        assert options(her, page, language, "phase") == ["1", "2", "3", "10"]
    contexts = words_of(her, f"{page}?by=context&ways=together", "en", r"<h2>Context (\d+)[^<]*</h2>")
    assert len(contexts) > 8
    assert contexts == sorted(contexts, key=int)


def test_what_is_sorted_by_words_leaves_nothing_out(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    for page, sorts in (
        ("dockets", ("element", "side", "taxon")), ("problems", ("problem",)), ("disagreements", ("about",)),
    ):  # fmt: skip
        rows = sorted(words_of(her, f"/review/{page}", "de", r"<tr[^>]*>(.*?)</tr>")[1:])
        for sort in sorts:
            for way in ("", "-"):
                found = words_of(her, f"/review/{page}?sort={way}{sort}", "de", r"<tr[^>]*>(.*?)</tr>")[1:]
                assert len(found) == len(rows) > 2, (page, sort)
