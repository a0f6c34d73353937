"""What is said of a reading: a verdict made by hand for every word that it may come to."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from small_choices import ZONE, battery, controller, panel

from kitopt.field.amperes import Step
from kitopt.field.belief import Belief
from kitopt.field.label import LabelRead
from kitopt.field.measures import BY_ID
from kitopt.field.reach import Reach
from kitopt.field.site import FieldSite
from kitopt.field.verdict import NextTest, Suspect, Verdict
from kitopt.inventory.items import Measured
from kitopt.report.field.measured import item_text, item_value, label_value
from kitopt.report.field.reading import reading_text

SITE = FieldSite("Hut", 47.0, 13.0, 0.0, datetime(2027, 6, 4, 12, tzinfo=ZONE))
REACH = Reach(panel(), controller(), battery(), 0.0)


def believed(share: dict[str, float], doubtful: tuple[str, ...] = (), **readings: float) -> Belief:
    belief = Belief(None, None, {"amps": 1.5, **readings})  # type: ignore[arg-type]
    # what is worked out of it once is kept, and here told
    vars(belief).update(share=share, doubtful=doubtful)
    return belief


LEAD = Suspect("lead", 0.5, "", (("amps", 1.5),), ())
PLUG = Suspect("connector", 0.3, "", (), ())
STEPS = (Step("label", 3.0), Step("worth", 2.4), Step("sun", 2.0))
LOW = Verdict(
    *(believed({"lead": 0.5, "connector": 0.3, "normal": 0.02}), "low", 2.0, 1.6, 2.4, STEPS, (LEAD, PLUG)), tests=()
)


def text_of(verdict: Verdict) -> str:
    return " ".join(reading_text(verdict, SITE, REACH).split())


def test_what_is_expected_is_told_step_by_step_and_adds_up() -> None:
    rows = reading_text(LOW, SITE, REACH).splitlines()
    first = rows.index("From the label to what is expected, A")
    # 3.0 - 0.6 - 0.4 = 2.0, and half an ampere less was read
    assert [row.split() for row in rows[first + 1 : first + 5]] == [
        ["label", "3.00"],
        ["its", "real", "worth", "-0.60", "2.40"],
        ["the", "sun", "as", "it", "is", "-0.40", "2.00"],
        ["read", "-0.50", "1.50"],
    ]


def test_normal_is_said_only_where_a_short_circuit_was_read() -> None:
    fine = replace(LOW, belief=believed({"normal": 0.9, "lead": 0.06}), suspects=(replace(LEAD, share=0.06),))
    said = text_of(replace(fine, called="normal"))
    assert "Normal for this sky and aim: 90 % sure." in said
    # of what is well nothing is to be mended, so that only what else it could be is told
    assert "What else it could be 6 % the lead is thin, long or corroded; for it amperes 1.50 A." in said
    assert "take another lead" not in said
    assert "As this sky and aim give it (90 %); without Isc nobody calls a panel normal." in text_of(
        replace(fine, called="as-expected")
    )


def test_two_causes_that_no_reading_tells_apart_are_named_together() -> None:
    # 0.5 + 0.3 = 0.8; and nothing is ever surer than 95 %
    alike = replace(LOW, suspects=(replace(LEAD, alike="connector"), replace(PLUG, alike="lead")))
    both = "Low; most likely the lead is thin, long or corroded, or a bad plug: no reading so far tells them apart"
    assert f"{both} (80 %)." in text_of(alike)
    sure = replace(LOW, suspects=(replace(LEAD, share=0.6, alike="connector"), replace(PLUG, share=0.39)))
    assert f"{both} (95 %)." in text_of(sure)
    assert "Nothing flows; most likely the lead is thin, long or corroded (50 %)." in text_of(
        replace(LOW, called="nothing-flows")
    )


@pytest.mark.parametrize(
    ("amps", "told"),
    [
        (-0.3, "Current leaves the battery: switch its loads off, or turn the meter round, and read again."),
        (9.0, "More than it can give under this sky and aim: look again at meter, sky, aim and label."),
    ],
)
def test_amperes_that_no_cause_gives_come_without_causes(amps: float, told: str) -> None:
    odd = replace(LOW, called="unexplained", belief=believed({"lead": 1.0}, ("amps",), amps=amps), suspects=())
    said = text_of(odd)
    assert told in said
    assert "What explains it" not in said
    # the amperes alone have been doubted by that sentence
    assert "read it again" not in said


def test_what_is_doubted_is_told_with_its_value() -> None:
    share = {"lead": 0.9}
    one = replace(LOW, belief=believed(share, ("volts",), volts=31.0))
    assert "Battery volts 31.0 V: no cause gives that; read it again." in text_of(one)
    two = replace(LOW, belief=believed(share, ("volts", "wiggle"), volts=31.0, wiggle=1.0))
    told = "Battery volts 31.0 V, wiggling the plugs yes: no cause gives them together; read them again."
    assert told in text_of(two)
    unexplained = replace(LOW, called="unexplained", belief=believed(share, ("amps", "volts"), volts=31.0))
    assert "Amperes 1.50 A, battery volts 31.0 V: no cause gives them together" in text_of(unexplained)


def test_what_the_meter_shows_of_nothing_is_said_to_be_taken_off() -> None:
    said = "0.20 A, which the meter shows with the panel covered, is taken off."
    assert said in text_of(replace(LOW, zero_a=0.2))
    assert "is taken off" not in text_of(LOW)


def test_readings_for_and_against_a_cause_and_how_to_mend_it() -> None:
    against = replace(PLUG, against=(("wiggle", 0.0), ("volts", 13.3), ("cover", 0.0)))
    verdict = replace(LOW, belief=believed({"lead": 0.5, "connector": 0.3, "normal": 0.1}), suspects=(LEAD, against))
    said = text_of(verdict)
    assert "the lead is thin, long or corroded; for it amperes 1.50 A. take another lead, or a shorter one." in said
    # two of them are enough
    assert "a bad plug; against it wiggling the plugs no, battery volts 13.3 V. clean and press" in said
    assert "10 % nothing is wrong." in said
    assert "nothing is wrong" not in text_of(LOW)


def test_a_yes_speaks_for_the_cause_that_is_named_first() -> None:
    jumps = NextTest(BY_ID["wiggle"], 0.4, ("lead", "connector"), None, first_is_above=False)
    said = text_of(replace(LOW, tests=(jumps,)))
    assert "If they jump: a bad plug; if not, rather: the lead is thin, long or corroded." in said
    assert "Then:" not in said
    turned = replace(jumps, first_is_above=True)
    assert "If they jump: the lead is thin, long or corroded; if not, rather: a bad plug." in text_of(
        replace(LOW, tests=(turned,))
    )


def test_a_threshold_parts_two_causes_and_plugs_are_pulled_in_the_dark() -> None:
    isc = NextTest(BY_ID["isc"], 0.5, ("connector", "weak"), 2.5, first_is_above=True)
    jumps = NextTest(BY_ID["wiggle"], 0.4, ("lead", "connector"), None, first_is_above=False)
    said = text_of(replace(LOW, tests=(isc, jumps)))
    assert "Next: cover first, then amperes of the panel into the meter alone (10 A range)" in said
    assert "2.50 A or more: a bad plug; less: the panel is weaker than thought." in said
    assert "Then: wiggling the plugs (" in said


def test_a_lead_far_from_its_copper_is_said_to_be() -> None:
    """Copper of 20 mΩ: 41 is more than twice that, 9 less than half."""
    kept = Measured("long", "lead", None, is_assumed=False, low=0.018, middle=0.02, high=0.022, n_readings=1)
    more, less = (" ".join(item_text(kept, read, 0.02, 0.02).split()) for read in (0.041, 0.009))
    assert "long has 41 mΩ there and back; by its copper 20 mΩ. That is more than its copper has" in more
    assert "That is less than its copper can have: read both ends again" in less
    for read in (0.03, 0.012):
        assert "That is" not in item_text(kept, read, 0.02, 0.02)
    value = item_value(kept, 0.041, 0.02, 0.02)
    assert (value["lead"], value["unit"], value["read"], value["copper"]) == ("long", "ohm", 0.041, 0.02)
    assert "label" not in value


def test_a_battery_is_measured_against_its_label() -> None:
    kept = Measured("box-10", "battery", 10.0, is_assumed=False, low=8.1, middle=8.6, high=9.2, n_readings=2)
    said = " ".join(item_text(kept, 8.5, 9.0, 10.0).split())
    assert "box-10 gave 8.5 Ah from full, 85 % of its label's 10 Ah." in said
    assert "Plans count 9 Ah; with this reading 8.6 Ah, nine in ten 8.1 to 9.2 Ah." in said
    value = item_value(kept, 8.5, 9.0, 10.0)
    assert (value["battery"], value["unit"], value["label"], value["counted"]) == ("box-10", "Ah", 10.0, 9.0)
    assert (value["learned"], value["ninety_percent"], value["readings"]) == (8.6, [8.1, 9.2], 2)


def test_a_lost_label_as_a_document() -> None:
    value = label_value(LabelRead(3.1416, 2.9, 98.76, 81.04, 120.36), SITE, REACH)
    assert (value["panel"], value["controller"], value["at"]) == ("fold-100", "mppt-5", "2027-06-04T12:00:00+02:00")
    assert (value["amps"], value["rated_w"], value["ninety_percent"]) == (3.142, 98.8, [81.0, 120.4])
