"""A recount from the lines that were written: plain dicts and loops, and nothing of what the program counts by.

The lines are merged here once more; every way to settle what is in dispute is counted by itself. Definitions are those
of the trade, written out anew: NISP, MNE, MNI and MAU as Lyman 1994 has them (recalled); what is taken for one piece,
one bone or one body, teeth by their place, and ends that join: common practice, no source. Shared with the program are
the tables alone: names, skeletons, portions and the ages at which ends join.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from itertools import product
from math import ceil

from fieldapp.assets import knowledge

K = knowledge()
ANIMAL = {"species", "pair", "family"}
NO_BONE = {"shell", "eggshell", "not_bone"}
ONE_BODY = {"articulated_observed", "articulated_inferred"}
OPEN_ENDS = {"unfused", "loose_epiphysis"}


def merged(tablets):
    """{record: {"kind", "heads": {path: {change: value}}, "gone": "no", "yes" or "argued"}}"""
    lines = [(one.id, json.loads(one.body)) for tablet in tablets for one in tablet.changes]
    replaced = {(line["record"], path, id) for _, line in lines for path, ids in line.get("over", {}).items()
                for id in ids if path in line["set"] and not path.startswith("human/")}  # fmt: skip
    found = {}
    for id, line in lines:
        record = found.setdefault(line["record"], {"kind": line["kind"], "heads": {}, "saw": set()})
        for path, value in line["set"].items():
            if (line["record"], path, id) not in replaced:
                record["heads"].setdefault(path, {})[id] = value
        if line["set"].get("deleted"):
            record["saw"] |= {id, *(each for ids in line["over"].values() for each in ids)}
    for record in found.values():
        ids = {id for heads in record["heads"].values() for id in heads}
        record["gone"] = "no" if not record["saw"] else "yes" if ids <= record["saw"] else "argued"
    return found


def said(record, path):
    """What is said at a path, each thing once."""
    found = []
    for value in record["heads"].get(path, {}).values():
        if value not in found:
            found.append(value)
    return found or [None]


def items(record, below):
    """What is said at the paths below one."""
    return [value for path in sorted(record["heads"]) if path.startswith(below) and (value := said(record, path)[0])]


def together(pairs):
    """{one: a word for all that hang together}"""
    word = {}
    for one, other in pairs:
        mine, its = word.get(one, one), word.get(other, other)
        word |= {one: mine, other: mine, **{each: mine for each, old in word.items() if old == its}}
    return word


class Recount:
    """A merged site. `settled`: every way to settle it, as lists of pieces."""

    def __init__(self, tablets, impossible=()):
        self.records = merged(tablets)
        of = {kind: {id: one for id, one in self.records.items() if one["kind"] == kind} for kind in
              ("docket", "tally", "bag", "context", "sample", "group")}  # fmt: skip
        self.of = of

        def links(kind, sort):
            return [(id, path.split("/")[1]) for id, one in of[kind].items() for path in one["heads"]
                    if path.startswith(f"{sort}/") and any(said(one, path))]  # fmt: skip

        same, fits = links("docket", "same_as"), links("docket", "joins")
        bodies = [(group, member) for group, member in links("group", "member")
                  if set(said(of["group"][group], "relation")) <= ONE_BODY]  # fmt: skip
        self.bone, self.fit, self.body = together(same), together([*same, *fits]), together([*same, *fits, *bodies])
        self.fit = {id: word for id, word in self.fit.items() if word in {self.fit[one] for one, _ in fits}}
        self.body = {id: word for id, word in self.body.items() if word in {self.body[one] for one, _ in bodies}}
        asked = {id for id, one in of["docket"].items() for path in one["heads"] if path.startswith("human/")
                 if any(value["answer"] in ("query", "stop") for value in said(one, path))}  # fmt: skip
        self.held = {id for id in of["docket"] if self.bone.get(id, id) in {self.bone.get(one, one) for one in asked}}
        self.impossible = set(impossible) - self.held
        self.options = [found for id, one in {**of["docket"], **of["tally"]}.items()
                        if (found := self._options(id, one)) and id not in self.held | self.impossible]  # fmt: skip
        self.ids = {found[0]["id"] for found in self.options}
        self.open = {found[0]["id"] for found in self.options if len(found) > 1}

    def settlements(self):
        """Every list of pieces that may be true."""
        for choice in product(*self.options):
            yield [one for one in choice if one["count"]]

    def certain(self):
        """The pieces that everybody reads alike, the fewest of them that anybody counts."""
        read = ("taxon", "element", "side", "portions", "fusion")
        alike = [ways for ways in self.options if all(one[key] == ways[0][key] for one in ways for key in read)]
        return [one for ways in alike if (one := min(ways, key=lambda one: one["count"]))["count"]]

    def _options(self, id, record):
        if record["gone"] == "yes":
            return []
        bag = self.of["bag"].get(said(record, "bag")[0])
        context = self.of["context"].get(said(bag, "context")[0] if bag else said(record, "context")[0])
        mesh = said(bag, "mesh_mm")[0] if bag else None
        way = said(bag, "recovery")[0] if bag else None
        sample = self.of["sample"].get(said(bag, "sample")[0]) if bag else None
        part = said(sample, f"fraction/{said(bag, 'fraction')[0]}")[0] if sample else None
        here = {
            "id": id, "kind": record["kind"], "context": said(context, "number")[0] if context else "",
            "way": (f"{way}:{mesh:g}" if mesh else way) or "unrecorded", "fraction": part,
            "bone": self.bone.get(id, id), "fit": self.fit.get(id, ""), "body": self.body.get(id, ""),
            "weight": said(record, "weight_g")[0], "preservation": said(record, "preservation")[0],
            "marks": items(record, "mark/"), "teeth": items(record, "tooth/"),
        }  # fmt: skip
        if record["kind"] == "tally":
            readings = [{"taxon": taxon, "element": said(record, "element")[0]} for taxon in said(record, "taxon")]
            material = "bone"
        else:
            readings, material = said(record, "reading"), said(record, "material")[0]
        found = [{**here, "material": material, "count": count or 1, **{key: one.get(key) for key in
                  ("taxon", "element", "side", "portions", "fusion")}} for one in readings
                 for count in said(record, "count")]  # fmt: skip
        return found if record["gone"] == "no" else [*found, {**found[0], "count": 0}]


def identified(one):
    element, taxon = K.elements.get(one["element"]), K.taxa.get(one["taxon"])
    return bool(element and taxon and one["material"] not in NO_BONE and element.kind != "indeterminate"
                and taxon.kind in ANIMAL)  # fmt: skip


def once(pieces):
    """Each bone once, with what the first docket says that names it."""
    found = {}
    for one in sorted(pieces, key=lambda one: (not identified(one), one["id"])):
        found.setdefault(one["bone"], one)
    return list(found.values())


def specimens(pieces, groups=False, refits=True):
    """How many: of those that fit, or are of one body, one."""
    n = sum(one["count"] for one in pieces if not (groups and one["body"]))
    n += len({(one["body"], one["taxon"]) for one in pieces if groups and one["body"]})
    for many in Counter(
        one["fit"] for one in pieces if refits and one["fit"] and not (groups and one["body"])
    ).values():
        n -= many - 1
    return n


def under(pieces, taxon):
    return [
        one for one in pieces if one["taxon"] == taxon or (K.taxa[taxon].kind in ANIMAL and K.is_a(one["taxon"], taxon))
    ]


def elements(pieces, refits=True):
    """Pieces of known bones of known animals, those that fit as one, radius and ulna by themselves."""
    apart, fits = [], {}
    seen = set()
    for one in sorted(pieces, key=lambda one: one["id"]):
        row = K.elements.get(one["element"])
        if one["kind"] == "tally" or one["taxon"] not in K.taxa or not row or row.kind == "indeterminate":
            continue
        if one["material"] in ("eggshell", "not_bone") or one["bone"] in seen:
            continue
        seen.add(one["bone"])
        for bone in taken_apart(one):
            if refits and one["fit"]:
                fits.setdefault((one["fit"], bone["taxon"], bone["element"]), []).append({**bone, "count": 1})
                bone = {**bone, "count": one["count"] - 1}
            apart += [bone] * (bone["count"] > 0)
    for some in fits.values():
        sides = {one["side"] for one in some} - {None}
        fusion = {}
        for one in some:
            for centre, state in one["fusion"].items():
                fusion.setdefault(centre, set()).add("unfused" if state in OPEN_ENDS else state)
        apart.append({
            **some[0], "side": sides.pop() if len(sides) == 1 else None,
            "most": set().union(*(one["most"] for one in some)),
            "fusion": {centre: told.pop() for centre, told in fusion.items() if len(told) == 1},
            "teeth": [tooth for one in some for tooth in one["teeth"]],
        })  # fmt: skip
    return apart


def taken_apart(one):
    most = {key for key, state in (one["portions"] or {}).items() if state == "most"}
    fusion = {key: state for key, state in (one["fusion"] or {}).items() if state in ("fused", "fusing", *OPEN_ENDS)}
    if one["element"] != "radio_ulna":
        return [{**one, "most": most, "fusion": fusion}]
    there = {key for key, state in (one["portions"] or {}).items() if state in ("most", "part")}
    bones = [name for name in ("radius", "ulna") if not there or any(key.startswith(name) for key in there)]
    return [{**one, "element": name, "most": {key[len(name) + 1 :] for key in most if key.startswith(name)},
             "fusion": {key[len(name) + 1 :]: state for key, state in fusion.items() if key.startswith(name)}}
            for name in bones]  # fmt: skip


def largest(pieces):
    """P: the most pieces with over half of one portion."""
    found = Counter()
    for one in pieces:
        found.update(dict.fromkeys(one["most"], one["count"]))
    return max(found.values(), default=min(1, len(pieces)))


def bones(pieces):
    """One: at one end, what is joined and what is open are of different bones."""
    best = largest(pieces)
    for centre in {centre for one in pieces for centre in one["fusion"]}:
        parts = [[one for one in pieces if (one["fusion"].get(centre) in OPEN_ENDS) == open_
                  and centre in one["fusion"]] for open_ in (True, False)]  # fmt: skip
        best = max(best, sum(map(largest, parts)))
    return best


def side(pieces, word):
    return [one for one in pieces if one["side"] == word]


def finer(pieces, taxon):
    names = {one["taxon"] for one in pieces} - {taxon}
    return [name for name in names if not any(other != name and K.is_a(name, other) for other in names)]


def pooled(pieces, taxon, figure):
    """The larger of all together, and the sum of what is named more finely."""
    if not pieces:
        return 0
    return max(figure(pieces, taxon), sum(pooled(under(pieces, name), name, figure) for name in finer(pieces, taxon)))


def mne(pieces, taxon, element):
    """MNE of a bone of an animal, with what is pooled in it."""
    names = {element, "metacarpal", "metatarsal"} if element == "metapodial" else {element}
    some = [one for one in under(pieces, taxon) if one["element"] in names]
    parts = sum(mne(some, taxon, one) for one in names - {element})

    def figure(pieces, _):
        return max(bones(side(pieces, "left")) + bones(side(pieces, "right")), bones(pieces))

    return max(parts, pooled(some, taxon, figure))


def mni(pieces, taxon):
    """MNI of an animal, with what is pooled in it."""
    return pooled(under(pieces, taxon), taxon, _mni)


def mau(pieces, taxon, element):
    """MAU of a bone of an animal."""
    return mne(pieces, taxon, element) / K.count(taxon, element)


def ends(pieces, taxon):
    """{(bone, end): {state: how many}}, what fits or is one bone once in each state."""
    found = {}
    for one in pieces:
        if one["kind"] == "docket" and K.is_a(one["taxon"] or "", taxon):
            for bone in taken_apart(one):
                for centre, state in bone["fusion"].items():
                    own = found.setdefault((bone["element"], centre), {}).setdefault(state, {})
                    key = one["fit"] or one["bone"]
                    own[key] = max(one["count"], own.get(key, 0))
    return {end: {state: sum(own.values()) for state, own in states.items()} for end, states in found.items()}


def deaths(pieces, taxon):
    """{(from, to) in months: animals}: what is of one body, fits or is one bone is one animal."""
    animals = {}
    for one in pieces:
        if one["kind"] == "docket" and K.is_a(one["taxon"] or "", taxon) and taken_apart(one)[0]["fusion"]:
            animals.setdefault(one["body"] or one["fit"] or one["bone"], []).append(one)
    found = Counter()
    for own in animals.values():
        least, most = 0.0, math.inf
        for bone in (bone for one in own for bone in taken_apart(one)):
            for centre, state in bone["fusion"].items():
                low, high = K.fusion_range(taxon, bone["element"], centre) or (None, None)
                least = max(least, low or 0.0) if state in ("fused", "fusing") else least
                most = min(most, math.inf if high is None else high) if state != "fused" else most
        if least <= most and (least, most) != (0.0, math.inf):
            found[least, most] += max(one["count"] for one in own)
    return found


def _mni(pieces, taxon):
    found = [1, _teeth(pieces, True), _teeth(pieces, False)]
    for element in {one["element"] for one in pieces} - {"loose_tooth"}:
        names = {element, "metacarpal", "metatarsal"} if element == "metapodial" else {element}
        some, k = (
            [one for one in pieces if one["element"] in names],
            K.count(taxon, element) or K.largest_count(taxon, element),
        )
        found.append(ceil(largest(some) / k) if k else 1)
        if k and K.elements[element].sided:
            found += [ceil(largest(side(some, word)) / ceil(k / 2)) for word in ("left", "right")]
    return max(found)


def _teeth(pieces, there):
    """By their place: the teeth that are there, or the places in jaws. Lower teeth alone, one of a name in a piece."""
    row = {word: {} for word in ("left", "right", None)}
    for n, one in enumerate(pieces):
        for tooth in one["teeth"]:
            if tooth["seat"] != ("socket_only" if there else "loose"):
                worn = "worn" if tooth["stage"] == "in_wear" else ""
                where = row[tooth["side"] or one["side"]]
                where.setdefault((n, one["count"]), set()).add(
                    tooth["tooth"] + (worn if tooth["tooth"] == "P4" else "")
                )
    best = 0
    of_all = [row["left"], row["right"]]
    for some, per in [*((one, 1) for one in of_all), *([(_added(row), 2)] if row[None] else [])]:
        for name in ("M1", "M2", "M3"):
            best = max(best, ceil(sum(count for (_, count), own in some.items() if name in own) / per))
        worn = sum(count for (_, count), own in some.items() if "P4worn" in own and "dP4" not in own)
        milk = sum(count for (_, count), own in some.items() if "dP4" in own)
        new = sum(count for (_, count), own in some.items() if "P4" in own and "P4worn" not in own)
        best = max(best, ceil((worn + max(milk, new)) / per))
    return best


def _added(row):
    found = {}
    for where in row.values():
        for key, own in where.items():
            found[key] = found.get(key, set()) | own
    return found
