"""Every page of the scene once, for tests that hold of all of them."""

from __future__ import annotations

from tests.server.tablets import SITE, an_id, context_id

DOCKETS = ("disputed", "precise", "rib", "heavy", "deleted", "impossible", "blank", "stop", "query", "twin", "worn")
HOLDS = ("stop", "query", "twin")

EVERY_PAGE = (
    "/review/today",
    "/review/contexts",
    "/review/dockets",
    "/review/dockets?only=late",
    "/review/changes",
    "/review/context/none",
    *(f"/review/context/{context_id(SITE, number)}" for number in ("1042", "1057")),
    f"/review/context/{context_id(SITE, '1042')}/print",
    *(f"/review/docket/{an_id(name)}" for name in DOCKETS),
    *(f"/review/docket/{an_id(name)}/edit" for name in ("disputed", "blank", "stop", "worn")),
    f"/review/context/{context_id(SITE, '1057')}/edit",
    f"/review/context/{context_id(SITE, '1057')}/docket",
    f"/review/context/{context_id(SITE, '1057')}/entry",
    f"/review/bag/{an_id('bag')}/entry",
    f"/review/bag/{an_id('bag')}/entry/many",
    f"/review/bulk?docket={an_id('rib')}&docket={an_id('worn')}",
    "/review/bulk-list",
    "/review/keys",
    "/review/disagreements",
    f"/review/disagreement/{an_id('disputed')}/reading",
    f"/review/disagreement/{an_id('precise')}/reading",
    f"/review/disagreement/{an_id('deleted')}/deleted",
    f"/review/disagreement/{context_id(SITE, '1057')}/phase",
    f"/review/disagreement/{an_id('rib')}/count",
    "/review/disagreements/causes",
    "/review/disagreements/lots",
    f"/review/combine/{an_id('disputed')}",
    f"/review/third-reading/{an_id('disputed')}",
    "/review/doubles",
    f"/review/refits/{context_id(SITE, '1042')}",
    f"/review/pair/{an_id('query')}/{an_id('twin')}",
    "/review/groups",
    f"/review/groups/new?context={context_id(SITE, '1042')}",
    "/review/holds",
    *(f"/review/hold/{an_id(name)}" for name in HOLDS),
    "/review/bags",
    "/review/bags?only=unwashed&sort=-label",
    f"/review/bag/{an_id('bag')}",
    "/review/boxes",
    "/review/transfers",
    "/review/site",
    "/review/contexts/add",
    "/review/problems",
    "/review/problems?level=impossible",
    "/review/carry",
    "/review/account",
    "/review/log",
    "/review/nowhere",
)
