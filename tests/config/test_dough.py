"""The dough card: against hand calculation, and a sentence for each mistake."""

from __future__ import annotations

import pytest

from benchd.config import BenchCard, CardError, dough
from benchd.core.facts import portion_time_s


def test_the_example_dough(masa_text: str, maize: BenchCard) -> None:
    masa = dough(masa_text, "masa.yaml", maize.facts)
    assert masa.name == "masa"
    assert masa.aim_kg == pytest.approx(0.030)
    # 30 g / (1.15 g/cm3 x 19.635 cm2) = 13.286 mm, by hand.
    assert masa.stroke_m == pytest.approx(0.013286, abs=1e-6)
    assert masa.push_speed_m_s == pytest.approx(0.004)
    assert masa.take_up_m == masa.draw_back_m == pytest.approx(0.002)
    assert masa.settle_s == pytest.approx(0.3)
    assert masa.tolerance == pytest.approx(0.05)
    assert masa.text == masa_text
    assert 4 < portion_time_s(maize.facts, masa) < 6


def test_draw_back_beyond_take_up_goes_on_top_of_the_stroke(
    masa_text: str, maize: BenchCard
) -> None:
    text = masa_text.replace("take_up: 2 mm", "take_up: 0.5 mm")
    assert dough(text, "m.yaml", maize.facts).stroke_m == pytest.approx(0.014786, abs=1e-6)


def test_a_digest_rests_on_what_a_portion_is_made_by(masa_text: str, maize: BenchCard) -> None:
    def digest(*changes: tuple[str, str]) -> int:
        text = masa_text
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        return dough(text, "masa.yaml", maize.facts).digest

    before = digest()
    assert digest(("aim: 30 g", "aim: 0.03 kg # the same")) == before
    assert digest(("settle: 300 ms", "settle: 0.3 s"), ("dough: masa", "dough: corn")) == before
    assert digest(("dwell:", "# dwell:")) == before
    assert digest(("aim: 30 g", "swell: 1.2\naim: 30 g")) == before
    assert digest(("aim: 30 g", "aim: 30.1 g")) != before
    assert digest(("aim: 30 g", "auto_stroke: yes\naim: 30 g")) != before


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("aim: 30 g", "aim: 30", "'aim: 30' has no unit; write a mass such as '30 g'."),
        ("aim: 30 g", "aim: 30 kg", "1 to 2000 g. Did you mean 30 g or 1058 g?"),
        ("aim: 30 g", "aim: 0.03 g", "1 to 2000 g. Did you mean 30 g?"),
        ("aim: 30 g", "aim: 0.03", "write a mass such as '0.03 kg'."),
        (
            "settle: 300 ms",
            "settle: 0.3",
            "'settle: 0.3' has no unit; write a time such as '0.3 s'.",
        ),
        ("settle: 300 ms", "settle: 5", "write a time such as '5 ms'."),
        ("settle: 300 ms", "settle: -5", "write a time such as '-5 ms'."),
        ("aim: 30 g", "aims: 30 g", "'aims' is no key of this card; the nearest is 'aim'."),
        ("push_speed: 4 mm/s", "push_speed: 9 mm/s", "this bench feeds at 0.0125 mm/s to 8 mm/s."),
        ("push_speed: 4 mm/s", "push_speed: 0.1 mm/s", "the bench card allows 30.0 s"),
        ("# stroke: 13.3 mm ", "stroke: 133 mm ", "it takes about 13.29 mm."),
        ("aim: 30 g", "aim: 800 g", "one portion needs"),
        ("take_up: 2 mm", "take_up: 20 mm", "'take_up' is longer than the whole portion"),
        ("settle: 300 ms", "settle: 300 s", "0 to 9999 ms"),
        ("density: 1.15 g/cm3", "density: 1.15 g", "is a mass, not a density; write it in g/cm3."),
    ],
)
def test_a_mistake_is_a_sentence(
    masa_text: str, maize: BenchCard, old: str, new: str, says: str
) -> None:
    assert old in masa_text
    with pytest.raises(CardError) as caught:
        dough(masa_text.replace(old, new), "m.yaml", maize.facts)
    assert any(says in sentence for sentence in caught.value.sentences), caught.value.sentences
    assert all(sentence.startswith("m.yaml") for sentence in caught.value.sentences)
