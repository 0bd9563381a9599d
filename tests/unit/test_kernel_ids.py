import pytest

from steadybead_domain.ids import (
    BadNameError,
    ChannelId,
    StationId,
    by_station,
    checked_channel,
    checked_name,
)


@pytest.mark.parametrize("name", ["a", "bay-1", "A_b-9", "x" * 64])
def test_a_name_of_the_contract_is_taken(name: str) -> None:
    assert checked_name(name, "station") == name


@pytest.mark.parametrize(
    "name",
    ["", "x" * 65, "a b", "a+b", "a#", "a/b", "$SYS", "a.b", "*", ">", "ä", "a\n", "\u202ea"],
)
def test_another_name_is_refused_with_the_remedy(name: str) -> None:
    with pytest.raises(BadNameError, match="use 1 to 64 of"):
        checked_name(name, "station")


def test_a_long_name_is_cut_in_the_message() -> None:
    with pytest.raises(BadNameError) as caught:
        checked_name("y" * 1_000_000, "gun")
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("text", ["flow", "gun-a/flow/x", "/flow", "gun-a/", ""])
def test_a_channel_is_two_names_and_one_slash(text: str) -> None:
    with pytest.raises(BadNameError):
        checked_channel(text)


def test_a_channel_id_is_written_as_it_is_read() -> None:
    channel = ChannelId.parse("north/bay-1/gun-a/nozzle")
    assert str(channel) == "north/bay-1/gun-a/nozzle"
    assert channel.gun == "a"
    assert channel.station_id == StationId.parse("north/bay-1")


def test_the_air_source_has_no_gun() -> None:
    assert ChannelId.parse("north/bay-1/air/filter-drop").gun is None


@pytest.mark.parametrize("text", ["north", "north/bay-1/x", "north//", "/bay", "no rth/bay"])
def test_a_station_id_is_site_and_station(text: str) -> None:
    with pytest.raises(BadNameError):
        StationId.parse(text)


def test_channels_are_grouped_by_station_in_the_order_they_come() -> None:
    texts = ["a/x/gun-a/flow", "a/y/gun-a/flow", "b/x/gun-a/flow", "a/x/gun-b/flow"]
    channels = [ChannelId.parse(text) for text in texts]
    assert by_station(channels, lambda c: c) == {
        StationId("a", "x"): [channels[0], channels[3]],
        StationId("a", "y"): [channels[1]],
        StationId("b", "x"): [channels[2]],
    }
