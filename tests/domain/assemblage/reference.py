"""Minimum numbers once more, straight from the project's text, sharing no code with what they check.

Every piece is written out as a row of its own, and what is one piece is put together first; then each definition is
followed word by word. Only what is settled is taken: no disputed readings. The tables (`knowledge`) are shared.
"""

from __future__ import annotations

from itertools import combinations, pairwise
from math import ceil, inf

from fieldapp.assets import knowledge

K = knowledge()
NAMES_ANIMAL = {"species", "pair", "family"}
FORE_OR_HIND = ("metacarpal", "metatarsal", "metapodial")


def rows(specimens):
    """One dict a piece: taxon, element, side, most, centres (1 fused, 0 unfused, 0.5 fusing), teeth, shed, fit."""
    out, seen = [], set()
    for one in sorted(specimens, key=lambda each: each.id):
        row = K.elements.get(one.element)
        if one.kind != "docket" or one.apart or one.material in ("eggshell", "not_bone") or one.taxon not in K.taxa:
            continue
        if row is None or row.kind == "indeterminate":
            continue
        if one.bone in seen:
            continue
        seen |= {one.bone} - {""}
        for n in range(one.count):
            for element, most, centres in taken_apart(one):
                out.append(
                    {
                        "who": (one.id, n), "taxon": one.taxon, "element": element, "most": most,
                        "side": one.side if K.elements[element].sided else None,
                        "centres": centres,
                        "shed": element == "antler" and one.surface.get("antler_base") != "attached",
                        "teeth": {
                            (
                                t.tooth, t.jaw or K.teeth.bearers.get(element), t.side or one.side,
                                t.stage == "in_wear", not empty(t), element != "loose_tooth" and t.seat != "loose",
                            )
                            for t in one.teeth
                            if t.tooth in K.teeth.teeth and t.stage not in ("shed", "lost_in_life", "never_formed")
                        },
                        "fit": one.fitted if n == 0 else "",
                    }
                )  # fmt: skip
    return fitted(out)


def empty(tooth):
    return tooth.seat == "socket_only" or (tooth.stage == "crypt_open" and tooth.seat != "loose")


def taken_apart(one):
    value = {"fused": 1, "fusing": 0.5, "unfused": 0, "loose_epiphysis": 0}
    portions = {
        key: state for key, state in one.portions.items() if key in {p.key for p in K.portions.get(one.element, ())}
    }
    centres = {c: value[s] for c, s in one.fusion.items() if c in {x.key for x in K.centres.get(one.element, ())}}
    if one.element != "radio_ulna":
        return [(one.element, {key for key, state in portions.items() if state == "most"}, centres)]
    found = []
    for part in ("radius", "ulna"):
        head = part + "_"
        its = {key.removeprefix(head): state for key, state in portions.items() if key.startswith(head)}
        nothing_is_there = set(portions.values()) <= {"absent"}
        if nothing_is_there or any(state in ("most", "part") for state in its.values()):
            own = {key.removeprefix(head): state for key, state in centres.items() if key.startswith(head)}
            found.append((part, {key for key, state in its.items() if state == "most"}, own))
    return found


def is_torn(pieces, one):
    """Whether the pieces of one bone are said to be of two sides, whatever animal or cannon bone each is called."""
    cannon = ("metapodial", "metacarpal", "metatarsal")
    alike = [
        each["side"] for each in pieces
        if each["fit"] == one["fit"]
        and (each["element"] == one["element"] or {each["element"], one["element"]} <= set(cannon))
    ]  # fmt: skip
    return len({*alike} & {"left", "right", "midline"}) > 1


def fitted(pieces):
    out, fits = [], {}
    for one in pieces:
        if one["fit"]:
            fits.setdefault((one["fit"], one["taxon"], one["element"]), []).append(one)
        else:
            out.append(one)
    for many in fits.values():
        sides = {one["side"] for one in many} & {"left", "right", "midline"}
        told = {}
        for one in many:
            for centre, state in one["centres"].items():
                told.setdefault(centre, set()).add(state)
        out.append(
            many[0]
            | {
                "side": sides.pop() if len(sides) == 1 and not is_torn(pieces, many[0]) else None,
                "most": set().union(*(one["most"] for one in many)),
                "centres": {centre: states.pop() for centre, states in told.items() if len(states) == 1},
                "teeth": set().union(*(one["teeth"] for one in many)),
                "shed": all(one["shed"] for one in many),
                "who": ("fit", many[0]["fit"]),
            }
        )
    return out


def ps(pieces):
    """P(S). What has one name in two animals' piles (fitted pieces that were called differently) counts once."""
    if not pieces:
        return 0
    portions = set().union(*(one["most"] for one in pieces))
    return max([1, *(len({one["who"] for one in pieces if portion in one["most"]}) for portion in portions)])


def ones(pieces):
    found = [ps(pieces)]
    for centre in {centre for one in pieces for centre in one["centres"]}:
        fused = [one for one in pieces if one["centres"].get(centre, 0) >= 0.5]
        found.append(ps(fused) + ps([one for one in pieces if one["centres"].get(centre) == 0]))
    return max(found)


def sided(pieces, side):
    return [one for one in pieces if one["side"] == side]


def elements(pieces, element):
    row = K.elements[element]
    across = 2 * ones(sided(pieces, "midline")) if row.sided and row.midline else 0
    return max(ones(sided(pieces, "left")) + ones(sided(pieces, "right")), ones(pieces), across)


def under(pieces, taxon):
    takes_in = K.taxa[taxon].kind in NAMES_ANIMAL
    return [one for one in pieces if one["taxon"] == taxon or (takes_in and K.is_a(one["taxon"], taxon))]


def finer(pieces, taxon):
    """Partings of what is named more finely: the groups next below."""
    names = {one["taxon"] for one in pieces} - {taxon}
    return [name for name in names if not any(K.is_a(name, other) and other != name for other in names)]


def all_of(pieces, taxon, element):
    if not pieces:
        return 0
    best = elements(pieces, element)
    if element == "metapodial":
        best = max(best, sum(all_of([o for o in pieces if o["element"] == e], taxon, e) for e in FORE_OR_HIND[:2]))
    return max(best, sum(all_of(under(pieces, name), name, element) for name in finer(pieces, taxon)))


def mne(specimens):
    pieces = rows(specimens)
    found = {}
    for taxon in {one["taxon"] for one in pieces}:
        its = under(pieces, taxon)
        for element in {one["element"] for one in its} - {"loose_tooth"}:
            names = FORE_OR_HIND if element == "metapodial" else (element,)
            found[taxon, element] = all_of([one for one in its if one["element"] in names], taxon, element)
    return found


def mni(specimens):
    """{taxon: (MNI, age-refined)}"""
    pieces = rows(specimens)
    return {
        taxon: (summed(under(pieces, taxon), taxon, animals), summed(under(pieces, taxon), taxon, aged))
        for taxon in {one["taxon"] for one in pieces}
        if K.taxa[taxon].kind in NAMES_ANIMAL
    }


def summed(pieces, taxon, figure):
    return max(figure(pieces, taxon), sum(summed(under(pieces, name), name, figure) for name in finer(pieces, taxon)))


def animals(pieces, taxon):
    if not pieces:
        return 0
    found = [1, teeth(pieces, taxon)]
    for element in {one["element"] for one in pieces} - {"loose_tooth"}:
        names = FORE_OR_HIND if element == "metapodial" else (element,)
        found.append(bones([one for one in pieces if one["element"] in names], taxon, element))
    return max(found)


def bones(pieces, taxon, element):
    pieces = [one for one in pieces if not one["shed"]]
    row = K.elements[element]
    k = K.count(taxon, element) or K.largest_count(taxon, element)
    if not pieces or not k:
        return 1 if pieces else 0
    found = [ceil(ps(pieces) / k)]
    if row.sided:
        found += [ceil(ps(sided(pieces, side)) / ceil(k / 2)) for side in ("left", "right")]
        if row.midline:
            found.append(ceil(ps(sided(pieces, "midline")) / ceil(k / 2)))
    return max(found)


def teeth(pieces, taxon):
    """What was found loose may be out of an empty socket: the teeth there are, or the places that jaws have."""
    return max(rows_of_teeth(pieces, taxon, at) for at in (0, 1))


def rows_of_teeth(pieces, taxon, at):
    """Each tooth (who, name, jaw, side, worn); by row, by both sides, by all rows."""
    loose = {
        (
            one["who"],
            name,
            jaw if jaw in ("lower", "upper") else None,
            side if side in ("left", "right") else None,
            worn,
        )
        for one in pieces
        for name, jaw, side, worn, *which in one["teeth"]
        if which[at]
    }
    best = 0
    for jaw in ("lower", "upper", None):
        for side in ("left", "right", None):
            of_jaw = [one for one in loose if jaw in (None, one[2])]
            row = [one for one in of_jaw if side in (None, one[3])]
            if (jaw is None and all(one[2] for one in loose)) or (side is None and all(one[3] for one in of_jaw)):
                continue  # nothing that does not say where it stood: each row by itself tells more
            for name in {one[1] for one in row}:
                of = (
                    [name]
                    if K.teeth.teeth[name].place is not None
                    else [t for t in K.teeth.teeth if K.teeth.is_a(t, name)]
                )
                within = [t for t, r in K.teeth.teeth.items() if r.place is not None and K.teeth.is_a(t, name)]
                asked = "P4" if name == "dP4" else name
                room = (K.teeth.per_side(taxon, asked, jaw) or len(within) * (1 if jaw else 2)) * (1 if side else 2)
                if name in ("P4", "dP4"):
                    milk = counted(row, ["dP4"], room)
                    worn = {
                        who: n for who, n in counted([o for o in row if o[4]], ["P4"], room).items() if who not in milk
                    }
                    fourth = {who: n for who, n in counted(row, ["P4"], room).items() if who not in worn}
                    n = sum(worn.values()) + max(sum(milk.values()), sum(fourth.values()))
                else:
                    n = sum(counted(row, of, room).values())
                best = max(best, ceil(n / room))
    return best


def counted(row, names, room):
    """{piece: how many teeth it has of these names, and never more than there is room for}"""
    pieces = {one[0] for one in row if one[1] in names}
    return {who: min(room, sum(one[0] == who and one[1] in names for one in row)) for who in pieces}


def aged(pieces, taxon):
    found = [animals(pieces, taxon)]
    # Any set of cuts: between two of them lie the bones of a class. Tried one set after the other.
    spans = [(one, *span(one)) for one in pieces]
    cuts = sorted({upto for _, _, upto in spans if upto < inf})
    for n in range(1, len(cuts) + 1):
        for some in combinations(cuts, n):
            edges = [-inf, *some, inf]
            total = 0
            for begin, end in pairwise(edges):
                its = [one for one, least, upto in spans if (least > begin or begin == -inf) and upto <= end]
                total += animals(its, taxon)
            found.append(total)
    for element in {one["element"] for one in pieces}:
        names = FORE_OR_HIND if element == "metapodial" else (element,)
        its = [one for one in pieces if one["element"] in names]
        for centre in {centre for one in its for centre in one["centres"]}:
            states = [[one for one in its if one["centres"].get(centre) == state] for state in (0, 1)]
            found.append(sum(bones(some, taxon, element) for some in states))
    return max(found)


def span(one):
    least, upto = -inf, inf
    for centre, state in one["centres"].items():
        limits = K.fusion_range(one["taxon"], one["element"], centre) or (None, None)
        if state > 0 and limits[0] is not None:
            least = max(least, limits[0])
        if state < 1 and limits[1] is not None:
            upto = min(upto, limits[1])
    return (least, upto) if least <= upto else (-inf, inf)
