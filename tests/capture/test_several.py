"""Channels of several sources are numbered on; what is said of one reaches its own source and no other."""

from __future__ import annotations

import pytest

from analysis import WrongUseError
from capture import ChannelWishes, RecordedChannel, split_wishes

SCOPE = (RecordedChannel(name="CH1"), RecordedChannel(name="CH2"))
CARD = (RecordedChannel(name="input 1"), RecordedChannel(name="input 2"), RecordedChannel(name="both"))
OTHER = (RecordedChannel(name="both"),)


def test_numbers_count_on_and_names_hold_where_they_stand() -> None:
    wishes = ChannelWishes({"0": "supply", "3": "signal", "CH2": "supply-amp"}, {"2": 2.5}, {"input 1": "AC"}, 0.01)
    first, second, third = split_wishes(wishes, [SCOPE, CARD, OTHER])
    assert first == ChannelWishes({"0": "supply", "CH2": "supply-amp"}, {}, {}, 0.01)
    assert second == ChannelWishes({"1": "signal"}, {"0": 2.5}, {"input 1": "AC"}, 0.01)
    assert third == ChannelWishes({}, {}, {}, 0.01)


def test_a_single_source_keeps_every_wish_as_it_was_typed() -> None:
    wishes = ChannelWishes({"7": "supply"})
    assert split_wishes(wishes, [SCOPE]) == (wishes,)


@pytest.mark.parametrize("key,words", [("6", "there is none; there are 0 (CH1), 1 (CH2)"), ("both", "more than one")])
def test_a_channel_that_is_nowhere_or_twice_is_refused(key: str, words: str) -> None:
    with pytest.raises(WrongUseError) as told:
        split_wishes(ChannelWishes(scales={key: 2.0}), [SCOPE, CARD, OTHER])
    assert words in str(told.value)
