"""What a newcomer writes in everyday words; what is lent; what the settings say."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import Fault
from kitopt.inventory import read_inventory
from kitopt.inventory.cells import connector_meant
from kitopt.inventory.items import Connector

Write = Callable[..., Path]
FaultsOf = Callable[..., list[Fault]]
BATTERIES = "id,mass_g,chemistry,capacity_ah,connector,fused\n"
CONTROLLERS = "id,mass_g,kind,max_charge_a,pv_connector,battery_connector,chemistries,rf\n"


@pytest.mark.parametrize(
    ("word", "meant"),
    [("LFP", "lifepo4"), ("LiFePO4", "lifepo4"), ("lithium-ion", "li-ion"), ("NMC", "li-ion"), ("AGM", "agm")],
)
def test_words_for_cells_are_understood(write: Write, word: str, meant: str) -> None:
    text = BATTERIES + f"b,{1400 if meant != 'agm' else 3600},{word},12,x,no\n"
    assert read_inventory(write(batteries__csv=text)).batteries[0].chemistry == meant


@pytest.mark.parametrize(
    ("column", "row", "answer"),
    [
        ("chemistry", "b,1400,lithium,12,x,no", "Write lifepo4 where its label says 12.8 V"),
        ("chemistry", "b,3600,lead-acid,12,x,no", "Write agm where it is sealed"),
        ("fused", "b,1400,LFP,12,x,BMS", "A BMS is no fuse: write no"),
        ("connector", "b,1400,LFP,12,ring terminal M6,no", "Write ring-m6."),
        ("connector", "b,1400,LFP,12,Crocodile clips,no", "Write clip."),
        ("connector", "b,1400,LFP,12,DC barrel 5.5x2.1 male,no", "Write barrel-5.5x2.1:plug."),
        ("connector", "b,1400,LFP,12,mystery:female,no", "Write mystery:socket."),
    ],
)
def test_words_that_mean_several_things_are_answered_with_what_to_write(
    faults_of: FaultsOf, column: str, row: str, answer: str
) -> None:
    (fault,) = faults_of(batteries__csv=BATTERIES + row + "\n")
    assert fault.column == column
    assert answer in fault.text


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        # a size written apart, a plural; an adapter of another size is another adapter
        *[("5.5 x 2.1 mm barrel plug", "barrel-5.5x2.1:plug"), ("round plug 5.5/2.5", "barrel-5.5x2.5:plug")],
        *[("M5 studs", "stud-m5"), ("eyelets M 8", "ring-m8"), ("ring lugs 6mm", "ring-m6"), ("6 mm ring", "ring-m6")],
        *[
            ("genderless 30", "genderless-30"),
            ("faston 6.3 mm", "faston-6.3"),
            ("round plug 2.1", "barrel-5.5x2.1:plug"),
        ],
        # neither volts nor a version are a size
        *[("car socket 12 V", "cigar:socket"), ("USB 2.0 A socket", "usb-a:socket")],
        # the letter of USB says what goes into what
        *[("USB C", "usb-c"), ("USB type C female", "usb-c:socket"), ("USB-C port", "usb-c")],
        *[("USB A male", "usb-a:plug"), ("USB socket", "usb-a:socket"), ("micro USB plug", "usb-micro:plug")],
    ],
)
def test_a_size_and_a_letter_are_kept(words: str, meant: str) -> None:
    assert connector_meant(words) == f" Write {meant}."


def test_a_usb_end_without_a_letter_is_the_large_flat_one() -> None:
    assert Connector("usb", "plug").mates_with(Connector("usb-a", "socket"))
    assert not Connector("usb", "plug").mates_with(Connector("usb-c", "socket"))


def test_an_end_without_a_side_among_ends_with_one_is_told(write: Write) -> None:
    # nothing joins them, and a kit without the phone would be all that is ever offered
    loads = "id,mass_g,full_w,connector\nphone,190,10,usb-c\nradio,900,20,genderless-30\n"
    leads = "id,mass_g,from,to,length_m\nusb,30,usb-a:plug,usb-c:plug,1\ng,60,genderless-30,genderless-30,1\n"
    (warning,) = read_inventory(write(loads__csv=loads, leads__csv=leads)).warnings
    assert warning.startswith("loads.csv, line 2: phone has an end usb-c of no side")
    assert warning.endswith("Write usb-c:plug or usb-c:socket.")


def test_what_is_answered_can_be_written(write: Write) -> None:
    for text in ("ring terminal M6", "Crocodile clips", "DC barrel 5.5x2.1 male", "mystery:female", "USB type C"):
        word = connector_meant(text).removeprefix(" Write ").removesuffix(".")
        assert (
            str(read_inventory(write(batteries__csv=BATTERIES + f"b,1400,LFP,12,{word},no\n")).batteries[0].connector)
            == word
        )


def test_a_noisy_controller_for_lfp(write: Write) -> None:
    controller = read_inventory(write(controllers__csv=CONTROLLERS + "c,140,pwm,10,x,y,LFP agm,noisy\n")).controllers[0]
    assert (controller.chemistries, controller.rf) == (("lifepo4", "agm"), "hash")


def test_what_is_out_stays_at_home(write: Write) -> None:
    panels = "id,mass_g,rated_w,connector,count,out\np,1500,50,x,3,yes\nq,1500,50,x,2,no\nr,1500,50,x,2,\n"
    inventory = read_inventory(write(panels__csv=panels))
    assert [(one.id, one.count, one.out) for one in inventory.panels] == [
        ("p", 0, True),
        ("q", 2, False),
        ("r", 2, False),
    ]


@pytest.mark.parametrize(
    ("text", "units"),
    [('"lb ft"', ("lb", "ft")), ('["ft"]', ("ft",)), ('"kg m"', ()), ('"kg ft"', ("ft",)), ('""', ())],
)
def test_units_of_the_answer(write: Write, text: str, units: tuple[str, ...]) -> None:
    assert read_inventory(write(inventory__toml=f"units = {text}\n")).units == units


def test_units_that_are_none(faults_of: FaultsOf) -> None:
    (fault,) = faults_of(inventory__toml='currency = "EUR"\nunits = "stone"\n')
    assert (fault.line, fault.column) == (2, "units")
    assert 'found "stone", need some of kg, m, lb, ft' in fault.text


def test_extras_that_hang_on_nothing_that_is_there(write: Write) -> None:
    extras = "id,mass_g,with\npegs,150,panel\nkey,80,cw hff\nlog,90,hf\npaper,50,\n"
    inventory = read_inventory(write(extras__csv=extras))
    assert {one.id: one.hangs_on for one in inventory.extras} == {
        **{"pegs": ("panel",), "key": ("cw", "hff"), "log": ("hf",), "paper": ()},
    }
    (warning,) = inventory.warnings
    said = 'extras.csv, line 3, column with: "hff" is neither panel nor a mode, nor the id of a panel or load.'
    assert warning == f"{said} Did you mean hf?"
