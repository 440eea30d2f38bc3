"""A random site with every oddity, recounted from its very lines by other means, and what must hold of any figure.

What is in dispute is settled here in every way there is: a range must hold the figure of each of them.
"""

from __future__ import annotations

import base64
import math
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

import pytest
from statsmodels.stats.proportion import multinomial_proportions_confint, proportion_confint

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.selection import parse
from server.analysis import topics
from server.analysis.asking import Asked
from server.analysis.gathering import Assemblage
from server.ledger import Ledger
from server.ledger.place import Place
from tests.server.analysis import recount
from tests.server.analysis.odd_site import OddSite
from tests.server.analysis.recount import Recount, elements, identified, once, specimens
from tests.server.tablets import CODE, ids

K = knowledge()
SEEDS = (2, *(pytest.param(seed, marks=pytest.mark.proof) for seed in (1, 3, 4, 5, 6, 7)))


def gathered(site, tmp_path, order=1):
    made = ids()
    ledger = Ledger.create(
        Place(path=tmp_path / f"{order}.sqlite"), code=CODE, name="Test field", new_id=lambda: next(made),
        seal_key=base64.b64encode(bytes(32)).decode(), clock=lambda: datetime(2026, 6, 1, tzinfo=UTC),
    )  # fmt: skip
    for tablet in site.tablets[::order]:
        ledger.accept(tablet.entries(), tablet.id)
    while ledger.check_due():
        pass
    found = Assemblage(ledger).now()
    ledger.close()
    return found


@pytest.fixture(scope="module", params=SEEDS)
def odd(request, tmp_path_factory):
    """(the site, what the program makes of it, the recount)"""
    site = OddSite(request.param)
    found = gathered(site, tmp_path_factory.mktemp("odd"))
    impossible = {one.id for one in found.specimens if one.apart == "impossible"}
    return site, found, Recount(site.tablets, impossible)


def results(found, topic, table, line="", **options):
    return list(topics.table(topic, table).make(Asked(found, parse(line, K), options)))


def rows(result):
    """{(animal, bone): {column: cell}} of a result, without the total."""
    named = [dict(zip((one.key for one in result.columns), row.cells, strict=True)) | {"records": row.records}
             for row in result.rows if not row.total]  # fmt: skip
    return {tuple(row[column].key for column in ("taxon", "element") if column in row): row for row in named}


def here(pieces, unit):
    """The pieces of a unit."""
    by = {"": lambda one: True, "context": lambda one: one["context"] == unit.place, "site": lambda one: True}
    return [one for one in pieces if by[unit.by](one) and unit.way in ("together", one["way"])]


def holds(span, figures):
    return span.low <= min(figures) and max(figures) <= span.high


@pytest.mark.parametrize("line", ["", "ways=together", "ways=together,groups=one", "ways=together,refits=pieces"])
def test_pieces_specimens_and_weights_are_those_of_every_settlement(odd, line):
    _, found, again = odd
    groups, refits = "groups=one" in line, "refits=pieces" not in line
    settled = list(again.settlements())
    assert len(settled) > 1
    for result in results(found, "counts", "pieces", line):
        if result.key != "pieces":
            continue
        for (taxon,), row in rows(result).items():
            own = [
                [one for one in once(here(pieces, result.unit)) if (one["taxon"] or "") == taxon] for pieces in settled
            ]
            counts = [sum(one["count"] for one in some) for some in own]
            assert holds(row["count_pieces"], counts)
            bone = [[one for one in some if one["material"] not in recount.NO_BONE] for some in own]
            assert holds(row["count_nsp"], [specimens(some, groups, refits) for some in bone])
            if row["count_nisp"] is not None:
                nisp = [specimens([one for one in some if identified(one)], groups, refits) for some in bone]
                assert holds(row["count_nisp"], nisp)
                assert row["count_nisp"].low == min(nisp)
            weights = [math.fsum(one["weight"] for one in some if one["weight"] is not None) for some in own]
            if row["count_weight"] is not None:
                assert row["count_weight"].low <= min(weights) + 1e-9
                assert row["count_weight"].high >= max(weights) - 1e-9


def test_minimum_numbers_hold_those_of_every_settlement_and_are_them_where_nothing_is_in_dispute(odd):
    _, found, again = odd
    settled = [elements(pieces) for pieces in [*again.settlements()][::7]]
    disputed = again.open | again.bone.keys()
    for table, figure, column in (("mne", recount.mne, "mne"), ("mni", recount.mni, "count_mni")):
        (result,) = results(found, "counts", table, "ways=together")
        for key, row in rows(result).items():
            own = [figure(pieces, *key) for pieces in settled]
            assert holds(row[column], own), key
            if disputed.isdisjoint(row["records"]):
                assert row[column] == Span(own[0], own[0]), key
        assert {key[0] for key in rows(result)} >= {
            one["taxon"] for one in settled[0] if table == "mne" or K.taxa[one["taxon"]].kind in recount.ANIMAL
        }
    (result,) = results(found, "counts", "mau", "ways=together")
    units = {key: [recount.mau(pieces, *key) for pieces in settled] for key in rows(result)}
    for key, row in rows(result).items():
        assert holds(row["mau"], units[key])
        of_animal = [one for one in units if one[0] == key[0]]
        if disputed.isdisjoint({id for one in of_animal for id in rows(result)[one]["records"]}):
            share = 100 * units[key][0] / max(units[one][0] for one in of_animal)
            assert row["mau_percent"].low == pytest.approx(share)


def test_shares_and_their_intervals_are_those_of_a_library(odd):
    _, found, _ = odd
    for result in results(found, "counts", "shares"):
        told = rows(result)
        counts = {taxon: row["nisp_sure"] for (taxon,), row in told.items()}
        whole = sum(counts.values())
        at_once = multinomial_proportions_confint([*counts.values()], 0.05, "goodman") if len(counts) > 1 else []
        for (taxon, n), ends in zip(counts.items(), at_once, strict=False):
            row = told[taxon,]
            alone = proportion_confint(n, whole, 0.05, "wilson")
            for cell, wanted in ((row["interval_one"], alone), (row["interval_all"], ends)):
                assert (cell.low, cell.high) == pytest.approx([100 * one for one in wanted], abs=1e-6)


def test_marks_are_counted_on_pieces_that_can_show_them(odd):
    _, found, again = odd
    (result, _) = results(found, "surface", "marks", "ways=together,refits=pieces", unrecorded_surface="left_out")
    told = {row.cells[1].key: row.cells for row in result.rows}
    # What some have deleted, or read as another animal, is in no rate; of a bone under two labels either may be.
    either = [one for ways in again.options for one in ways[:1] if one["id"] in again.open | again.bone.keys()]
    most = sum(one["count"] for one in either)
    pieces = [
        one
        for one in again.certain()
        if one["id"] not in again.open | again.bone.keys() and one["kind"] == "docket"
        and one["material"] not in {*recount.NO_BONE, "tooth"} and one["element"] != "loose_tooth"
    ]  # fmt: skip
    for kind, surfaces in (("cut", ("good",)), ("chop", ("good", "poor")), ("carnivore_gnawing", ("good", "poor"))):
        able = [one for one in pieces if one["preservation"] in surfaces]
        marked = [one for one in able if any(mark["kind"] == kind for mark in one["marks"])]
        for cell, mine in ((told[kind][2], marked), (told[kind][3], able)):
            n = sum(one["count"] for one in mine)
            assert n <= cell <= n + most


def test_ends_that_join_and_ages_at_death_are_counted_once_a_bone_and_once_a_body(odd):
    _, found, again = odd
    pieces = again.certain()
    for taxon in ("cattle", "sheep_goat"):
        (result,) = results(found, "ages", "fusion", "ways=together", taxon=taxon)
        told = {tuple(cell.key for cell in row.cells[:2]): row.cells for row in result.rows}
        for (element, centre), states in recount.ends(pieces, taxon).items():
            cells = told[element, centre]
            assert [cells[at].low for at in (5, 6, 7)] == [states.get(one, 0) for one in ("fused", "fusing", "unfused")]
        (result,) = results(found, "ages", "survival", "ways=together", taxon=taxon)
        died = recount.deaths(pieces, taxon)
        n = sum(died.values())
        for row in result.rows:
            age, bounds = row.cells[-6], row.cells[-3]
            surely = sum(times for (low, high), times in died.items() if low >= age and (low, high) != (age, age))
            may = sum(times for (_, high), times in died.items() if high > age)
            assert (bounds.low, bounds.high) == pytest.approx((100 * surely / n, 100 * may / n))
            assert row.cells[-1] == n


def test_a_fraction_stands_for_what_was_not_sorted_of_it(odd):
    _, found, again = odd
    pieces = once(next(iter(again.settlements())))
    parts = [one for one in results(found, "counts", "pieces", "ways=together,refits=pieces") if one.key == "fractions"]
    for (taxon,), row in rows(parts[0]).items() if parts else ():
        own = [one for one in pieces if one["fraction"] and one["fraction"].get("sorted_share") == 0.25
               and one["taxon"] == taxon and identified(one)]  # fmt: skip
        if row["count_multiplier"] == 4 and row["count_nisp"] and again.open.isdisjoint(row["records"]):
            assert (row["count_nisp"].low, row["count_estimate"].low) == (n := sum(one["count"] for one in own), 4 * n)


def test_every_record_counts_or_is_told_to_be_left_out(odd):
    _, found, again = odd
    everything = again.ids | again.held | again.impossible
    for table in ("pieces", "mne", "mni", "shares"):
        for line in ("", "by=context", "ways=together,groups=one"):
            told = set()
            for result in results(found, "counts", table, line):
                told |= {id for row in result.rows for id in row.records}
                told |= {id for one in result.left_out for id in one.records}
            assert told == everything, (table, line)


def test_the_sums_of_the_parts_are_the_whole(odd):
    _, found, _ = odd
    (whole,) = [one for one in results(found, "counts", "pieces", "ways=together,refits=pieces") if one.key == "pieces"]
    for by in ("trench", "phase", "context"):
        parts = [one for one in results(found, "counts", "pieces", f"by={by},ways=together,refits=pieces")
                 if one.key == "pieces"]  # fmt: skip
        for key, row in rows(whole).items():
            own = [cells[key] for one in parts if key in (cells := rows(one))]
            for column in ("count_pieces", "count_nsp", "count_nisp", "count_weight"):
                if row[column] is not None:
                    low = math.fsum(cell.low for one in own if (cell := one[column]) is not None)
                    # A bone with labels in two places counts once in the whole.
                    assert low >= row[column].low - 1e-9, (by, key, column)


def test_the_order_in_which_records_come_changes_nothing(odd, tmp_path):
    site, found, _ = odd
    other = gathered(site, tmp_path, -1)
    assert other.specimens == found.specimens
    shuffled = replace(found, specimens=tuple(Random(0).sample(found.specimens, len(found.specimens))), kept={})
    for topic, table in (("counts", "mne"), ("counts", "mni"), ("counts", "pieces")):
        ours, theirs = (results(one, topic, table, "by=context") for one in (found, shuffled))
        assert [[row.cells for row in one.rows] for one in ours] == [[row.cells for row in one.rows] for one in theirs]


def test_a_record_more_lowers_nothing_and_contexts_together_are_no_more_animals(odd):
    _, found, _ = odd
    tied = {one.id for one in found.specimens if one.bone or one.fitted}
    for id in Random(1).sample(sorted({one.id for one in found.specimens} - tied), 3):
        less = replace(found, specimens=tuple(one for one in found.specimens if one.id != id), kept={})
        for table, column in (("pieces", "count_nisp"), ("mne", "mne"), ("mni", "count_mni")):
            (before, *_), (after, *_) = (results(one, "counts", table, "ways=together") for one in (less, found))
            for key, row in rows(before).items():
                if row[column] is not None:
                    now = rows(after)[key][column]
                    assert (now.low, now.high) >= (row[column].low, row[column].high), (table, key)
    contexts = sorted({one.context for one in found.specimens})
    joined = replace(found, kept={}, specimens=tuple(
        replace(one, context=contexts[0]) if one.context == contexts[1] else one for one in found.specimens
    ))  # fmt: skip
    (apart,), (together,) = (results(one, "counts", "mni", "ways=together") for one in (found, joined))
    for key, row in rows(apart).items():
        assert (rows(together)[key]["count_by_context"] or 0) <= (row["count_by_context"] or 0)
        assert row["count_mni"] == rows(together)[key]["count_mni"]
