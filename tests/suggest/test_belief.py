"""Belief against published numbers, brute force, and pyAgrum's exact inference."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fieldnote.suggest.belief import Network, posterior, reweigh
from fieldnote.suggest.bundles import WIDTH, bundles
from fieldnote.suggest.covering import Cover
from fieldnote.suggest.summing import Sum

CLOSE = 1e-9


def states_of(net: Network) -> tuple[np.ndarray, np.ndarray]:
    """All states of the sources, and the weight of each with all findings present: noisy-OR written out."""
    states = np.array(list(itertools.product((0, 1), repeat=len(net.prior))))
    weight = np.prod(np.where(states == 1, net.prior, 1 - net.prior), axis=1)
    for links, leak in zip(net.links, net.leaks, strict=True):
        weight = weight * (1 - (1 - leak) * np.prod(np.where(states == 1, 1 - links, 1.0), axis=1))
    return states, weight


def random_network(rng: np.random.Generator, sources: int, findings: int) -> Network:
    dense = rng.uniform(0.1, 0.9)
    return Network(
        prior=rng.uniform(0.0005, rng.choice([0.01, 0.3, 0.9]), sources),
        links=rng.uniform(0.05, 1.0, (findings, sources)) * (rng.random((findings, sources)) < dense),
        leaks=rng.uniform(0.0005, rng.choice([0.002, 0.1]), findings),
    )


# Pearl 1988 p. 184, the fever example as taught after Russell & Norvig: q = cold .6, flu .2, malaria .1, no leak.
FEVER_Q = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}


@pytest.mark.parametrize(
    ("present", "fever"),
    [
        ((), 0.0),
        (("malaria",), 0.9),
        (("flu",), 0.8),
        (("flu", "malaria"), 0.98),
        (("cold",), 0.4),
        (("cold", "malaria"), 0.94),
        (("cold", "flu"), 0.88),
        (("cold", "flu", "malaria"), 0.988),
    ],
    ids=lambda v: "+".join(v) or "none" if isinstance(v, tuple) else None,
)
def test_the_fever_table_comes_out_of_the_same_inference(present: tuple[str, ...], fever: float) -> None:
    """P(fever | causes) as published, with the causes made certain as priors of one or nought."""
    prior = np.array([1.0 if name in present else 0.0 for name in FEVER_Q])
    links = np.array([[1 - q for q in FEVER_Q.values()]])
    net = Network(prior, links, np.array([0.0]))
    if not present:
        # Nothing can cause it: the evidence is impossible, so the limit of a vanishing leak is taken.
        net = Network(prior, links, np.array([1e-300]))
    assert np.exp(posterior(net).log_evidence) == pytest.approx(fever, abs=CLOSE)


@pytest.mark.parametrize("seed", range(60))
def test_belief_equals_brute_force(seed: int) -> None:
    """Up to 15 sources, any mixture of links: every probability within 1e-9, by either way of reckoning."""
    rng = np.random.default_rng(seed)
    net = random_network(rng, int(rng.integers(1, 16 if seed % 10 == 0 else 11)), int(rng.integers(1, 7)))
    states, weight = states_of(net)
    for allowed in (1e-9, -1.0):  # the second trusts no sum and covers
        got = posterior(net, allowed)
        assert np.abs(got.prob - weight @ states / weight.sum()).max() < CLOSE
        assert got.log_evidence == pytest.approx(np.log(weight.sum()), abs=CLOSE)


@pytest.mark.parametrize("seed", range(12))
def test_belief_equals_pyagrum(seed: int) -> None:
    """Up to 20 sources against an independent exact engine (pyAgrum, noisy-OR built in) to 1e-9."""
    agrum = pytest.importorskip("pyagrum")
    rng = np.random.default_rng(1000 + seed)
    net = random_network(rng, int(rng.integers(12, 21)), int(rng.integers(2, 6)))
    bn = agrum.BayesNet("map")
    for i, p in enumerate(net.prior):
        bn.add(agrum.LabelizedVariable(f"s{i}", "", 2))
        bn.cpt(f"s{i}").fillWith([1 - p, p])
    for k, (links, leak) in enumerate(zip(net.links, net.leaks, strict=True)):
        # The Net form: the external weight is an independent cause (the leak), as in the definition above.
        bn.addNoisyORNet(agrum.LabelizedVariable(f"f{k}", "", 2), float(leak))
        for i, link in enumerate(links):
            if link > 0:
                bn.addWeightedArc(f"s{i}", f"f{k}", float(link))
    engine = agrum.LazyPropagation(bn)
    engine.setEvidence({f"f{k}": 1 for k in range(len(net.leaks))})
    engine.makeInference()
    theirs = np.array([engine.posterior(f"s{i}")[1] for i in range(len(net.prior))])
    assert np.abs(posterior(net).prob - theirs).max() < CLOSE
    assert posterior(net).log_evidence == pytest.approx(np.log(engine.evidenceProbability()), abs=CLOSE)


def test_improbable_evidence_does_not_cancel() -> None:
    """Ten findings, each explained by its own rare pair of sources: the plain sum loses all digits, covering none."""
    n = 10
    links = np.zeros((n, 2 * n))
    for k in range(n):
        links[k, k] = links[k, (k + 1) % n] = 0.5
        links[k, n + k] = 0.9
    net = Network(np.full(2 * n, 1e-3), links, np.full(n, 1e-6))
    assert Sum(links).evidence(Sum(links).terms(net.prior[None], net.leaks[None]))[1][0] > 1e-3
    right = posterior(net)
    assert right.prob.max() <= 1.0
    # The same by a route of its own: sources in reverse order, findings in reverse order.
    mirrored = posterior(Network(net.prior[::-1].copy(), net.links[::-1, ::-1].copy(), net.leaks[::-1].copy()))
    assert np.abs(mirrored.prob[::-1] - right.prob).max() < CLOSE
    assert mirrored.log_evidence == pytest.approx(right.log_evidence, abs=CLOSE)


@pytest.mark.parametrize("seed", range(15))
def test_the_chance_that_none_of_a_group_is_there(seed: int) -> None:
    """P(none of a group | findings) equals the sum over all states without them, several groups at once."""
    rng = np.random.default_rng(seed)
    net = random_network(rng, 9, 3)
    groups = [(rng.random(9) < share).astype(float) for share in (0.0, 0.2, 0.5, 0.9, 1.0)]
    states, weight = states_of(net)
    truth = [weight[(states * group).sum(axis=1) == 0].sum() / weight.sum() for group in groups]
    for allowed in (1e-9, -1.0):
        belief = posterior(net, allowed)
        assert belief.none_of(groups) == pytest.approx(truth, abs=CLOSE)
        assert belief.none_of([]).size == 0


@pytest.mark.parametrize("seed", range(8))
def test_sources_of_many_findings_are_reckoned_with_too(seed: int) -> None:
    """A source that shows in more findings than a bundle holds: belief, evidence and groups equal brute force."""
    rng = np.random.default_rng(2000 + seed)
    net = random_network(rng, 9, WIDTH + 2)
    net.links[:, :2] = rng.uniform(0.1, 0.9, (WIDTH + 2, 2))
    assert any(len(b.axes) > WIDTH for b in bundles(net.links))
    states, weight = states_of(net)
    cover = Cover(net.prior, net.links, net.leaks)
    assert np.abs(cover.prob() - weight @ states / weight.sum()).max() < CLOSE
    for out in (1, 5):
        group = np.arange(9) == out
        without = weight[states[:, out] == 0].sum() / (1 - net.prior[out])
        assert cover.log_evidence_without([group])[0] == pytest.approx(np.log(without), abs=CLOSE)


def test_many_networks_of_the_same_links_at_once() -> None:
    """A leak term of one says nothing: the network without that finding gives the same."""
    rng = np.random.default_rng(7)
    net = random_network(rng, 12, 4)
    priors = np.array([net.prior, rng.uniform(0.001, 0.2, 12), net.prior])
    leaks = np.array([net.leaks, net.leaks, np.where([0, 1, 0, 1], net.leaks, 1.0)])
    sums = Sum(net.links)
    got = sums.prob(priors, sums.terms(priors, leaks), [3, 7])
    for n, known in enumerate(([0, 1, 2, 3], [0, 1, 2, 3], [1, 3])):
        alone = posterior(Network(priors[n], net.links[known], leaks[n, known]))
        assert got[n] == pytest.approx(alone.prob[[3, 7]], abs=CLOSE)


@pytest.mark.parametrize("most", [None, 3])
def test_bundles_hold_every_source_once(most: int | None) -> None:
    """Each with its own findings; no wider than allowed, but for sources that are so by themselves."""
    links = random_network(np.random.default_rng(3), 40, 9).links
    found = bundles(links, most)
    assert sorted(i for b in found for i in b.members) == np.flatnonzero(links.any(axis=0)).tolist()
    for b in found:
        mine = [tuple(np.flatnonzero(links[:, i])) for i in b.members]
        assert all(set(axes) <= set(b.axes) for axes in mine)
        assert len(b.axes) <= WIDTH or set(mine) == {b.axes}
        assert most is None or len(b.members) <= most
        assert sorted(b.index.ravel()) == list(range(1 << 9))


def test_without_present_findings_belief_is_the_prior_reweighed() -> None:
    """Evidence on single sources multiplies their odds: prior .2 and a factor of 4 give .5."""
    prior = reweigh(np.array([0.2, 0.5]), np.log(np.array([4.0, 1.0])))
    assert posterior(Network(prior, np.zeros((0, 2)), np.zeros(0))).prob == pytest.approx([0.5, 0.5])


def test_single_faults_alone_would_be_wrong() -> None:
    """Two findings with no common source: two faults are there, which a single-fault belief cannot say."""
    net = Network(np.array([0.1, 0.1]), np.array([[0.9, 0.0], [0.0, 0.9]]), np.array([0.001, 0.001]))
    assert posterior(net).prob.min() > 0.98
