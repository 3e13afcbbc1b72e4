"""Accept, hold, reject: exactly where one turns into the other, and which reason stands first."""

from math import inf, nextafter

import pytest

from partscreen.results import Reason
from partscreen.screening.disposition import Findings, PartEvidence, Rule, decide, rejected_by

RULE = Rule(0.6, cost=10.0)
BROKEN, NEAR, REMARK, BAR, WAITING = (
    Reason(code=code, sentence=code) for code in ("broken", "near", "remark", "bar", "w")
)


def part(evidence=-5.0, probability=0.001, reach=0.9, fault_leads=False):
    return PartEvidence(evidence, probability, reach, fault_leads, lambda code: Reason(code=code, sentence=code))


def told(found, weighed, rule=RULE):
    disposition, reasons = decide(found, weighed, rule, WAITING)
    return disposition, [reason.code for reason in reasons]


@pytest.mark.parametrize(
    ("weighed", "disposition", "reason"),
    [
        (part(), "accept", "in_favour"),
        (part(evidence=0.0), "accept", "in_favour"),
        (part(evidence=nextafter(0.0, 1.0)), "hold", "undecided"),
        (part(reach=0.6), "accept", "in_favour"),
        (part(reach=nextafter(0.6, 0.0)), "hold", "short_reach"),
        (part(probability=0.05), "accept", "in_favour"),  # half a part held over ten of a bad one accepted
        (part(probability=nextafter(0.05, 1.0)), "hold", "risky"),
        (part(evidence=3.0, probability=0.9), "reject", "against"),  # half a part held over five of a wrong reject
        (part(evidence=nextafter(3.0, 0.0), probability=0.99), "hold", "undecided"),
        (part(evidence=9.0, probability=nextafter(0.9, 0.0)), "hold", "undecided"),
        (part(evidence=9.0, probability=0.95, fault_leads=True), "reject", "against"),
        (part(evidence=9.0, probability=nextafter(0.95, 0.0), fault_leads=True), "hold", "undecided"),
        (part(evidence=9.0, probability=0.9, fault_leads=False), "reject", "against"),
    ],
)
def test_each_border_belongs_to_the_side_the_rule_says(weighed, disposition, reason):
    assert told(Findings(), weighed) == (disposition, [reason])


def test_cost_of_a_bad_part_sets_the_risk_of_an_accept_but_never_above_a_half():
    assert Rule(0.6, cost=10.0).most_probability == pytest.approx(0.05)
    assert Rule(0.6, cost=100.0).most_probability == pytest.approx(0.005)
    assert Rule(0.6, cost=1.0).most_probability == 0.5
    assert Rule(0.6, cost=0.1).most_probability == 0.5
    assert Rule(0.6).cost == 10.0
    assert Rule(0.6).least_probability == pytest.approx(0.9)


def test_a_broken_limit_rejects_whatever_the_evidence_and_stands_first():
    found = Findings(reject=(BROKEN,), hold=(NEAR,), remarks=(REMARK,))
    assert told(found, part()) == ("reject", ["broken", "near", "remark"])
    assert told(found, part(evidence=8.0, probability=1.0)) == ("reject", ["broken", "against", "near", "remark"])
    assert told(found, None) == ("reject", ["broken", "near", "remark"])
    barred = Findings(reject=(BROKEN,), hold=(NEAR,), bar=(BAR,))
    assert told(barred, part(evidence=8.0, probability=1.0)) == ("reject", ["broken", "bar", "near"])


def test_a_bar_holds_a_part_whatever_its_evidence():
    found = Findings(bar=(BAR,), hold=(NEAR,), remarks=(REMARK,))
    for weighed in (None, part(), part(evidence=8.0, probability=1.0)):
        assert told(found, weighed) == ("hold", ["bar", "near", "remark"])


def test_without_evidence_nothing_is_accepted_and_a_part_without_findings_waits():
    assert told(Findings(), None) == ("hold", ["w"])
    assert told(Findings(remarks=(REMARK,)), None) == ("hold", ["w", "remark"])
    assert told(Findings(hold=(NEAR,), remarks=(REMARK,)), None) == ("hold", ["near", "remark"])


def test_evidence_against_goes_before_what_only_holds_and_that_before_reach_and_risk():
    found = Findings(hold=(NEAR,), remarks=(REMARK,))
    assert told(found, part(evidence=8.0, probability=1.0)) == ("reject", ["against", "near", "remark"])
    assert told(found, part(evidence=1.0)) == ("hold", ["undecided", "near", "remark"])
    assert told(found, part(reach=0.1, probability=0.4)) == ("hold", ["near", "remark"])
    short = Findings(remarks=(REMARK,))
    assert told(short, part(reach=0.1, probability=0.4)) == ("hold", ["short_reach", "remark"])
    assert told(short, part(probability=0.4)) == ("hold", ["risky", "remark"])
    assert told(short, part()) == ("accept", ["in_favour", "remark"])


def test_evidence_rejects_alone_only_when_it_is_strong_and_the_part_probably_unfit():
    for evidence in (-inf, 0.0, 2.99, 3.0, inf):
        for probability in (0.0, 0.89, 0.9, 1.0):
            expected = evidence >= 3.0 and probability >= 0.9
            assert rejected_by(evidence, probability, RULE, fault_leads=False) is expected
