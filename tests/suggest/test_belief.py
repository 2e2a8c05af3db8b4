"""Belief against published numbers, brute force, and pyAgrum's exact inference."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fieldnote.suggest.belief import Belief, Groups, Network, covered, log_evidence, posterior, reweigh

CLOSE = 1e-9


def brute_force(net: Network) -> Belief:
    """Belief by adding up all states of the sources: the definition of noisy-OR, written out."""
    states = np.array(list(itertools.product((0, 1), repeat=len(net.prior))))
    weight = np.prod(np.where(states == 1, net.prior, 1 - net.prior), axis=1)
    for links, leak in zip(net.links, net.leaks, strict=True):
        weight = weight * (1 - (1 - leak) * np.prod(np.where(states == 1, 1 - links, 1.0), axis=1))
    return Belief(weight @ states / weight.sum(), float(np.log(weight.sum())))


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
    assert np.exp(log_evidence(net)) == pytest.approx(fever, abs=CLOSE)


@pytest.mark.parametrize("seed", range(60))
def test_belief_equals_brute_force(seed: int) -> None:
    """Up to 15 sources, any mixture of links: every probability within 1e-9, by either way of reckoning."""
    rng = np.random.default_rng(seed)
    net = random_network(rng, int(rng.integers(1, 16 if seed % 10 == 0 else 11)), int(rng.integers(1, 7)))
    truth = brute_force(net)
    for allowed in (1e-9, -1.0):  # the second trusts no sum and covers
        got = posterior(net, allowed)
        assert np.abs(got.prob - truth.prob).max() < CLOSE
        assert got.log_evidence == pytest.approx(truth.log_evidence, abs=CLOSE)


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
    assert log_evidence(net) == pytest.approx(np.log(engine.evidenceProbability()), abs=CLOSE)


def test_improbable_evidence_does_not_cancel() -> None:
    """Ten findings, each explained by its own rare pair of sources: the plain sum loses all digits, covering none."""
    n = 10
    links = np.zeros((n, 2 * n))
    for k in range(n):
        links[k, k] = links[k, (k + 1) % n] = 0.5
        links[k, n + k] = 0.9
    net = Network(np.full(2 * n, 1e-3), links, np.full(n, 1e-6))
    left, right = covered(net), posterior(net)
    assert right.prob.max() <= 1.0
    # The same by a route of its own: sources in reverse order, findings in reverse order.
    mirrored = posterior(Network(net.prior[::-1].copy(), net.links[::-1, ::-1].copy(), net.leaks[::-1].copy()))
    assert np.abs(mirrored.prob[::-1] - right.prob).max() < CLOSE
    assert np.log(left.evidence) + left.log_scale == pytest.approx(right.log_evidence, abs=CLOSE)


@pytest.mark.parametrize("seed", range(15))
def test_the_chance_that_none_of_a_group_is_there(seed: int) -> None:
    """P(none of a group | findings) equals the sum over all states without them."""
    rng = np.random.default_rng(seed)
    net = random_network(rng, 8, 3)
    group = (rng.random(8) < 0.5).astype(float)
    states = np.array(list(itertools.product((0, 1), repeat=8)))
    weight = np.prod(np.where(states == 1, net.prior, 1 - net.prior), axis=1)
    for links, leak in zip(net.links, net.leaks, strict=True):
        weight = weight * (1 - (1 - leak) * np.prod(np.where(states == 1, 1 - links, 1.0), axis=1))
    without = weight[(states * group).sum(axis=1) == 0].sum() / weight.sum()
    assert Groups(net, posterior(net)).none_of(group) == pytest.approx(without, abs=1e-4)


def test_without_present_findings_belief_is_the_prior_reweighed() -> None:
    """Evidence on single sources multiplies their odds: prior .2 and a factor of 4 give .5."""
    prior = reweigh(np.array([0.2, 0.5]), np.log(np.array([4.0, 1.0])))
    assert posterior(Network(prior, np.zeros((0, 2)), np.zeros(0))).prob == pytest.approx([0.5, 0.5])


def test_single_faults_alone_would_be_wrong() -> None:
    """Two findings with no common source: two faults are there, which a single-fault belief cannot say."""
    net = Network(np.array([0.1, 0.1]), np.array([[0.9, 0.0], [0.0, 0.9]]), np.array([0.001, 0.001]))
    assert posterior(net).prob.min() > 0.98
