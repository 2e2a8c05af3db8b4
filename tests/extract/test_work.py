"""Work in few words: materials, torque, new parts, what is still to be done. Common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, tuple[list[str], list[str]]] = {
    "a new part bedded": (
        ["new gasket in the fuel door bedded in silicone"],
        ["repair fuel-door/gasket replace with silicone"],
    ),
    "a new part sealed": (
        ["new grommet in the firewall, sealed with mastic"],
        ["repair firewall/grommet replace with mastic"],
    ),
    "a new part and then work": (
        ["replaced the antenna gasket and sealed it with urethane"],
        ["repair antenna/gasket replace", "repair antenna/gasket reseal with urethane"],
    ),
    "put back to a torque": (
        ["roof rack screws back in with sealer on the threads, seven newton metres each"],
        ["access roof-rack/screw refitted", "repair roof-rack/screw tighten with thread-sealant torque 7N_m"],
    ),
    "off, sealant on, back in": (
        ["left tailgate hinge bolt out, thread sealant on, back in at eighteen newton metres"],
        [
            "access liftgate-hinge/hinge-bolt left removed",
            "repair liftgate-hinge/hinge-bolt left tighten with thread-sealant torque 18N_m",
        ],
    ),
    "fresh material after other work": (
        ["cleaned the right roof joint out, fresh brushable sealer"],
        ["repair roof-joint right clean", "repair roof-joint right reseal with brushable-sealer"],
    ),
    "how much it was turned": (
        ["adjusted the left front door striker one turn"],
        ["repair front-door/latch left adjust"],
    ),
    "to be done": (["carpet to be dried still"], ["plan carpet dry-out"]),
    "said to be": (["antenna gasket, glad to say, replaced"], ["repair antenna/gasket replace"]),
    "a number of what is no thing": (
        ["vacuumed eight litres out of the spare wheel well"],
        ["repair spare-wheel-well clean"],
    ),
}


@pytest.mark.parametrize(("said", "meant"), CASES.values(), ids=list(CASES))
def test_work(extractor: Extractor, said: list[str], meant: list[str]) -> None:
    """Work that is told in few words becomes the entries that the same work in many words gives."""
    assert list(told(extractor, *said)) == meant
