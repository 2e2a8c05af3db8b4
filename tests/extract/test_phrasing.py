"""Turns of phrase: each rule with several sentences of other people's making. Wording is common practice, no source."""

from __future__ import annotations

import pytest

from fieldnote.extract import Extractor
from tests.extract.telling import told

CASES: dict[str, list[tuple[list[str], list[str]]]] = {
    "where": [
        (
            ["left liftgate hinge", "the grommet where the loom goes through the firewall is split"],
            ["check firewall/grommet torn"],
        ),
        (
            ["the sealer has cracked where the left A pillar meets the cowl"],
            ["check a-pillar/seam-sealer left cracked"],
        ),
        (
            ["there is a pinhole where the right C pillar comes down to the quarter panel"],
            ["check c-pillar right pinhole"],
        ),
        (["the molding is lifted where the roof joins the left D pillar"], ["check roof/molding left lifted"]),
        (
            ["where the roof meets the quarter panel on the left the sealer has cracked"],
            ["check roof/seam-sealer left cracked"],
        ),
        (
            ["a split in the grommet where the harness goes through the left liftgate hinge"],
            ["check liftgate-hinge/grommet left torn"],
        ),
    ],
    "which": [
        (
            ["the windshield molding which somebody had glued down was lifted at the upper left corner"],
            ["check windshield/molding left lifted corner upper"],
        ),
        (["the right rocker which is next to it was dry"], ["evidence rocker right dry"]),
        (["the liftgate weatherstrip which I looked at last week is torn"], ["check liftgate/weatherstrip torn"]),
        (
            ["the left D pillar trim which I pulled off had a stain on it"],
            ["access d-pillar/trim-panel left removed", "evidence d-pillar/trim-panel left stain"],
        ),
        (["the plug that was in the rear floor was missing"], ["check rear-floor/body-plug missing"]),
        (
            ["the left liftgate hinge had a hinge bolt that was loose"],
            ["check liftgate-hinge/hinge-bolt left loose-fastener"],
        ),
    ],
    "before": [
        (["before I pull the cowl I want to hose the windshield"], ["plan windshield test"]),
        (["before we take the lamp off the right tail lamp gasket is torn"], ["check tail-lamp/gasket right torn"]),
        (["before I seal the trough I cleaned it"], ["repair liftgate-trough clean"]),
        (["before I hosed it I taped the left roof joint"], ["repair roof-joint left tape"]),
        (["before I go up there the left rocker is rusted"], ["check rocker left rusted"]),
    ],
    "no sealer": [
        (["the left trough seam hasn't got any sealer on it"], ["check liftgate-trough/seam left unsealed"]),
        (["couldn't find any seam sealer in the right roof joint"], ["check roof-joint right unsealed"]),
        (["the cowl seam doesn't have any sealer at all"], ["check cowl/seam unsealed"]),
        (["there isn't any sealant behind the left tail lamp"], ["check tail-lamp left unsealed"]),
        (["the rear floor seam never had any sealer"], ["check rear-floor/seam unsealed"]),
        (["it isn't the sealer in the cowl that is cracked"], ["check cowl/seam-sealer no cracked"]),
    ],
    "numbers": [
        (
            ["right rack screws one and three are loose, two is missing"],
            [
                "check roof-rack/screw right loose-fastener #1",
                "check roof-rack/screw right loose-fastener #3",
                "check roof-rack/screw right missing #2",
            ],
        ),
        (
            ["rack bolts two, four and five spin"],
            [
                "check roof-rack/bolt spinning #2",
                "check roof-rack/bolt spinning #4",
                "check roof-rack/bolt spinning #5",
            ],
        ),
        (
            ["left rack screws number one and number four are stripped"],
            ["check roof-rack/screw left stripped #1", "check roof-rack/screw left stripped #4"],
        ),
        (
            ["rack screw four is loose and five is tight"],
            ["check roof-rack/screw loose-fastener #4", "check roof-rack/screw ok #5"],
        ),
        (
            ["of the four drain holes in the right rocker two are blocked"],
            ["check rocker/drain-hole right blocked count 2"],
        ),
        (
            ["sunroof drains, front two are clear, rear left is blocked"],
            ["check sunroof/drain-tube ok front count 2", "check sunroof/drain-tube left blocked rear"],
        ),
    ],
    "a fault that something is said of": [
        (["the hole behind the right rocker molding was never sealed"], ["check rocker/molding right unsealed"]),
        (
            ["the pinhole in the left roof joint was sealed with urethane"],
            ["repair roof-joint left reseal with urethane"],
        ),
        (["the tear in the water shield was taped"], ["repair water-shield tape"]),
        (
            ["the gap at the top of the trough was closed with seam sealer"],
            ["repair liftgate-trough reseal with seam-sealer upper"],
        ),
        (["the crack in the cowl seam is two inches long"], ["check cowl/seam cracked length 2in"]),
        (
            ["there is a hole in the left water shield and it is torn"],
            ["check water-shield left punctured", "check water-shield left torn"],
        ),
    ],
    "observed": [
        (["damp carpet was observed in the right front footwell"], ["evidence front-footwell/carpet right damp"]),
        (["a stain was noted on the headliner at the sunroof"], ["evidence sunroof/headliner stain"]),
        (["the cowl was hosed for five minutes and no leak was detected"], ["test cowl dry hose duration 5min"]),
        (
            ["the left tail lamp was tested with the hose and a leak was observed after 50 seconds"],
            ["test tail-lamp left leak hose time-to-leak 50s"],
        ),
        (
            ["droplets were seen on the wiring harness of the left tail lamp"],
            ["evidence tail-lamp/wiring-harness left droplets"],
        ),
        (["the gasket on the antenna was found to be torn"], ["check antenna/gasket torn"]),
        (
            ["the right quarter glass was tested with smoke and no leak was evident"],
            ["test quarter-glass right dry smoke"],
        ),
    ],
    "second places": [
        (
            ["water on the left carpet and on the right carpet in the front footwell"],
            ["evidence front-footwell/carpet left water", "evidence front-footwell/carpet right water"],
        ),
        (
            ["droplets in the left wheelhouse and in the spare wheel well"],
            ["evidence wheelhouse left droplets", "evidence spare-wheel-well droplets"],
        ),
        (
            ["resealed the seam at the cowl and at the liftgate trough"],
            ["repair cowl/seam reseal", "repair liftgate-trough/seam reseal"],
        ),
        (
            ["sealer is cracked on the left hinge and on the right hinge"],
            ["check liftgate-hinge/seam-sealer left cracked", "check liftgate-hinge/seam-sealer right cracked"],
        ),
        (
            ["no pinholes at the cowl seam or at the firewall seam"],
            ["check cowl/seam no pinhole", "check firewall/seam no pinhole"],
        ),
        (
            ["rust on the left front door flange and on the right"],
            ["check front-door/flange left rusted", "check front-door/flange right rusted"],
        ),
    ],
    "lists": [
        (
            ["the cowl, the windshield and both A pillars are all dry"],
            ["evidence cowl dry", "evidence windshield dry", "evidence a-pillar both dry"],
        ),
        (
            ["hosed the cowl, the windshield and the roof joint, no leak"],
            ["test cowl dry hose", "test windshield dry hose", "test roof-joint dry hose"],
        ),
        (
            ["water in the front footwell, the rear footwell and the spare wheel well"],
            ["evidence front-footwell water", "evidence rear-footwell water", "evidence spare-wheel-well water"],
        ),
        (
            ["nothing found at the hood, the cowl or the firewall"],
            ["check hood ok", "check cowl ok", "check firewall ok"],
        ),
        (
            ["left front door, the weatherstrip and the water shield are torn"],
            ["check front-door/weatherstrip left torn", "check front-door/water-shield left torn"],
        ),
        (
            ["checked the cowl, the sunroof and the antenna and they are all good"],
            ["check cowl ok", "check sunroof ok", "check antenna ok"],
        ),
    ],
    "said of a part": [
        (["right sunroof drain tube is off the tray"], ["check sunroof/drain-tube right disconnected"]),
        (["the left rear drain tube came off"], ["check drain-tube left disconnected rear"]),
        (["left door card's off"], ["access front-door/door-trim-panel left removed"]),
        (["windshield urethane is low at the top"], ["check windshield/glass-adhesive thin upper"]),
        (["the weld on the left wheelhouse is burned through"], ["check wheelhouse/spot-weld left burn-through"]),
        (["the seam on the rear floor is split open"], ["check rear-floor/seam cracked"]),
        (["the left door seal is split open at the bottom"], ["check front-door/weatherstrip left torn lower"]),
    ],
    "off": [
        (["door trim panel off the left rear door"], ["access rear-door/door-trim-panel left removed"]),
        (["gasket off the right tail lamp"], ["access tail-lamp/gasket right removed"]),
        (["so off comes the left quarter trim"], ["access quarter-panel/trim-panel left removed"]),
        (["molding off the right roof joint"], ["access roof-joint/molding right removed"]),
    ],
    "materials told in passing": [
        (
            ["rack screw torqued to forty inch pounds, thread sealant on it"],
            ["repair roof-rack/screw tighten with thread-sealant torque 40in_lb"],
        ),
        (["cowl seam resealed, brushable sealer"], ["repair cowl/seam reseal with brushable-sealer"]),
        (
            ["fitted a new membrane to the left sliding door on butyl tape"],
            ["repair sliding-door/water-shield left replace with butyl-tape"],
        ),
        (
            ["quarter glass on the left", "set the glass in new urethane"],
            ["repair quarter-glass/glass-adhesive left reseal with urethane"],
        ),
        (
            ["put a new plug in the center floor with seam sealer round it"],
            ["repair center-floor/body-plug replace with seam-sealer"],
        ),
        (
            ["windshield", "fresh bead of urethane and the molding is back on"],
            ["repair windshield/glass-adhesive reseal with urethane", "access windshield/molding refitted"],
        ),
    ],
    "tests told otherwise": [
        (["checked the left tail lamp with the ultrasonic, strong signal"], ["test tail-lamp left leak ultrasonic"]),
        (
            ["ten minutes on the roof joint no leak, ten minutes on the sunroof no leak"],
            ["test roof-joint dry duration 10min", "test sunroof dry duration 10min"],
        ),
        (
            ["there was water dripping from the overhead console whenever I sprayed the antenna"],
            ["evidence overhead-console drip", "test antenna leak"],
        ),
        (
            ["water came in at the left A pillar thirty seconds after I started spraying the roof joint"],
            ["evidence a-pillar left water", "test roof-joint leak time-to-leak 30s"],
        ),
        (
            ["ran the hose on the left vent of the quarter panel, forty seconds and it's in"],
            ["test quarter-panel/pressure-vent left leak hose time-to-leak 40s"],
        ),
        (
            ["hose on the left tail lamp, leaked in a minute", "same on the right but it took two minutes"],
            ["test tail-lamp left leak hose time-to-leak 1min", "test tail-lamp right leak hose time-to-leak 2min"],
        ),
        (["smoke came out around the grommet in the firewall"], ["test firewall/grommet leak smoke"]),
    ],
    "causes": [
        (["the torn gasket on the left tail lamp is your source"], ["source tail-lamp/gasket left torn"]),
        (["what's letting it in is the gasket on the right tail lamp"], ["source tail-lamp/gasket right -"]),
        (
            ["the reason it leaks is that the left liftgate hinge was never sealed"],
            ["source liftgate-hinge left unsealed"],
        ),
        (
            ["the culprit turned out to be the missing plug in the right wheelhouse"],
            ["source wheelhouse/body-plug right missing"],
        ),
        (
            ["cowl seam is cracked", "this was determined to be the source of the leak"],
            ["check cowl/seam cracked", "source cowl/seam cracked"],
        ),
    ],
    "others, and nothing of ours": [
        (
            ["left front door", "the water shield had been stuck down by somebody and it's lifting along the bottom"],
            ["check front-door/water-shield left lifted lower"],
        ),
        (["firewall", "the harness is pulling the grommet to one side"], []),
        (["dropped my screwdriver"], []),
        (["I know a bit about water"], []),
        (["you're thinking door seal"], []),
        (["thank you darling"], []),
        (["bingo, water running down the left quarter panel"], ["evidence quarter-panel left water"]),
    ],
    "answers": [
        (["left tail lamp", "so what did you find? gasket's torn"], ["check tail-lamp/gasket left torn"]),
        (["left tail lamp gasket", "is it tight? no, it's loose"], ["check tail-lamp/gasket left unseated"]),
        (["how's it look? the left roof joint is dry"], ["evidence roof-joint left dry"]),
    ],
    "the object first": [
        (["right rack screw I tightened, eight newton metres"], ["repair roof-rack/screw right tighten torque 8N_m"]),
        (["the left A pillar trim I took off"], ["access a-pillar/trim-panel left removed"]),
        (["the gasket on the antenna I replaced"], ["repair antenna/gasket replace"]),
        (["the liftgate weatherstrip I pushed back on"], ["repair liftgate/weatherstrip reseat"]),
    ],
    "in turn": [
        (
            ["carpet wet left front, dry right front"],
            ["evidence carpet left damp front", "evidence carpet right dry front"],
        ),
        (
            ["left door hinge bolt loose at the bottom, upper one tight"],
            ["check front-door/hinge-bolt left loose-fastener lower", "check front-door/hinge-bolt left ok upper"],
        ),
        (
            ["both pressure vents of the quarter panel, left one's torn and right one's fine"],
            ["check quarter-panel/pressure-vent left torn", "check quarter-panel/pressure-vent right ok"],
        ),
        (
            ["left tail lamp, bolts tight, gasket good, right, two bolts loose"],
            [
                "check tail-lamp/bolt left ok",
                "check tail-lamp/gasket left ok",
                "check tail-lamp/bolt right loose-fastener count 2",
            ],
        ),
        (
            ["tail lamps, left gasket pinched, right gasket okay"],
            ["check tail-lamp/gasket left pinched", "check tail-lamp/gasket right ok"],
        ),
    ],
    "what was not done": [
        (["instead of replacing the hood seal I cleaned it"], ["repair hood/weatherstrip clean"]),
        (["rather than pull the windshield I sealed it with urethane"], ["repair windshield reseal with urethane"]),
        (["it doesn't leak unless I spray the mirror"], []),
        (["the water is not coming from the windshield"], ["evidence windshield no water"]),
    ],
    "water told twice": [
        (
            ["the lower track of the left sliding door has some water sitting in it"],
            ["evidence sliding-door-track left standing-water lower"],
        ),
        (["water on the left tail lamp for ten minutes, no drip"], ["test tail-lamp left dry duration 10min"]),
        (["there is a rust trail behind the left quarter trim"], ["evidence quarter-panel left rust-trail"]),
        (["antenna leaks"], ["test antenna leak"]),
        (["it only leaks when the hose is on the back glass"], ["test back-glass leak hose"]),
        (
            ["moved up to the right roof joint and within a minute there's water running down the B pillar"],
            ["test roof-joint right leak time-to-leak 1min", "evidence b-pillar water"],
        ),
    ],
    "laid, put and closed": [
        (["ran a nice bead of seam sealer across the cowl seam"], ["repair cowl/seam reseal with seam-sealer"]),
        (
            ["cowl seam", "cleaned both surfaces, new bead of seam sealer"],
            ["repair cowl/seam clean", "repair cowl/seam-sealer reseal with seam-sealer"],
        ),
        (
            ["right roof joint", "brushed it full of brushable sealer"],
            ["repair roof-joint right reseal with brushable-sealer"],
        ),
        (["left sunroof drain tube", "hooked it back up"], ["repair sunroof/drain-tube left reconnect"]),
    ],
    "said of another part": [
        (["antenna looks good, no cracks in the base gasket"], ["check antenna ok", "check antenna/gasket no cracked"]),
        (["the left mirror on the front door has a torn gasket"], ["check door-mirror/gasket left torn"]),
        (["hinge on the right liftgate, one bolt's loose"], ["check liftgate-hinge/hinge-bolt right loose-fastener"]),
        (
            ["tightened the two studs, which were only finger tight, to twenty five inch pounds"],
            ["repair stud tighten torque 25in_lb count 2", "check stud loose-fastener count 2"],
        ),
        (
            ["right scuff plate pulled, the carpet there is damp"],
            ["access scuff-plate right removed", "evidence scuff-plate/carpet right damp"],
        ),
        (["both screws at the left front rack foot are loose"], ["check roof-rack/screw left loose-fastener front"]),
    ],
    "the same, said within": [
        (
            ["left hatch hinge, sealer cracked, right the same"],
            ["check liftgate-hinge/seam-sealer left cracked", "check liftgate-hinge/seam-sealer right cracked"],
        ),
        (
            ["left tail lamp gasket torn, right same"],
            ["check tail-lamp/gasket left torn", "check tail-lamp/gasket right torn"],
        ),
        (
            ["the left rocker is rusted, the right is the same"],
            ["check rocker left rusted", "check rocker right rusted"],
        ),
    ],
    "answers and passes": [
        (["cowl", "hosed it two minutes", "retest okay"], ["test cowl - hose duration 2min", "test cowl dry verify"]),
        (["line one, windshield, pass"], ["check windshield ok"]),
        (
            ["cowl drains, left blocked, right pass"],
            ["check cowl/drain-hole left blocked", "check cowl/drain-hole right ok"],
        ),
        (["try the right. okay hose on the right lamp, leaks"], ["test tail-lamp right leak hose"]),
    ],
    "new ones": [
        (
            ["right tail lamp gasket is torn", "new one's on"],
            ["check tail-lamp/gasket right torn", "repair tail-lamp/gasket right replace"],
        ),
        (
            ["new bolt in the right liftgate hinge, sealed under it with urethane"],
            [
                "repair liftgate-hinge/hinge-bolt right replace",
                "repair liftgate-hinge/hinge-bolt right reseal with urethane",
            ],
        ),
        (
            ["removed left and right liftgate hinges and resealed both"],
            ["access liftgate-hinge both removed", "repair liftgate-hinge both reseal"],
        ),
        (["sealed the trough with urethane, both sides"], ["repair liftgate-trough both reseal with urethane"]),
    ],
    "places told before": [
        (
            ["the carpet in the right front footwell is soaked", "cowl", "dried the carpet"],
            ["evidence front-footwell/carpet right soaked", "repair front-footwell/carpet right dry-out"],
        ),
        (
            ["liftgate trough", "right hinge, upper bolt spins"],
            ["check liftgate-hinge/hinge-bolt right spinning upper"],
        ),
        (["hosed the left front door ten minutes, no water entered"], ["test front-door left dry hose duration 10min"]),
        (
            ["sunroof", "poured a jug in the left front drain and it came out under the car"],
            ["test sunroof/drain-hole left dry pour front"],
        ),
        (
            ["left front tube of the sunroof is kinked, rear right tube's off its elbow"],
            ["check sunroof/drain-tube left pinched front", "check sunroof/drain-tube right disconnected rear"],
        ),
    ],
    "before this job, and not yet": [
        (["the windshield was replaced last year"], []),
        (["a while back somebody taped the hood seal, the hood seal is torn"], ["check hood/weatherstrip torn"]),
        (["recommend removing the back glass"], ["plan back-glass -"]),
        (
            ["left rear footwell", "found mud in the right rear footwell", "the carpet is damp"],
            ["evidence rear-footwell/carpet right damp"],
        ),
    ],
    "near to it": [
        (
            ["left front door weatherstrip", "the right one is torn by the mirror"],
            ["check front-door/weatherstrip right torn"],
        ),
    ],
    "each with its own number": [
        (
            ["three of the clips on the rear door are missing and one has a torn grommet"],
            ["check rear-door/trim-clip missing count 3", "check rear-door/grommet torn"],
        ),
        (
            ["sealed the left shield with butyl, put in four new clips"],
            ["repair water-shield left reseal with butyl-tape", "repair trim-clip left replace count 4"],
        ),
        (
            ["hand me that light would you. okay there's a drip on the headliner at the sunroof"],
            ["evidence sunroof/headliner drip"],
        ),
        (
            ["tapped the dent out on the left tail lamp, new gasket"],
            ["repair tail-lamp left straighten", "repair tail-lamp/gasket left replace"],
        ),
    ],
    "two of them at one place": [
        (
            ["there's a torn gasket and a bent stud on the left tail lamp"],
            ["check tail-lamp/gasket left torn", "check tail-lamp/stud left bent"],
        ),
        (
            ["found two loose screws and one stripped screw on the right rack foot"],
            ["check roof-rack/screw right loose-fastener count 2", "check roof-rack/screw right stripped"],
        ),
        (
            ["resealed the left liftgate hinge with urethane and the right hinge with seam sealer"],
            ["repair liftgate-hinge left reseal with urethane", "repair liftgate-hinge right reseal with seam-sealer"],
        ),
        (
            ["left roof joint has a skip in the sealer, it's an inch long, and the clip next to it is missing"],
            ["check roof-joint/seam-sealer left skip length 1in", "check roof-joint/trim-clip left missing"],
        ),
        (
            ["left tail lamp", "torqued both nuts to forty inch pounds"],
            ["repair tail-lamp/bolt left tighten torque 40in_lb"],
        ),
        (
            ["the left drain of the cowl was blocked, the right one wasn't"],
            ["check cowl/drain-hole left blocked", "check cowl/drain-hole right no blocked"],
        ),
        (
            ["the left A pillar trim has beads of water on it, the right one hasn't"],
            ["evidence a-pillar/trim-panel left droplets", "evidence a-pillar/trim-panel right no droplets"],
        ),
    ],
}


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        pytest.param(said, expected, id=f"{name}: {said[-1][:40]}")
        for name, cases in CASES.items()
        for said, expected in cases
    ],
)
def test_phrasing(extractor: Extractor, said: list[str], expected: list[str]) -> None:
    """However it is put, it becomes the same entries."""
    assert told(extractor, *said) == expected
