"""The order of filing, against an order written by hand and against names that were put together from known parts."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from random import Random

import pytest

from app.domain.filing_order import (
    NO_NAME,
    ONLY_FAMILY,
    ONLY_GENUS,
    Written,
    begins_folder,
    filing_key,
    key_of,
    plant_of,
)

# By hand, as folders stand: the species before what ranks below it, subspecies before varieties before forms (ICN article
# 24.1 and 3.2, from memory), a hybrid by its name without the sign (H.3, from memory), the genus alone behind its species.
BY_HAND: list[tuple[str, str]] = [
    ("Asteraceae", "Hieracium murorum L."), ("Asteraceae", "Hieracium umbellatum L."), ("Asteraceae", "Hieracium"),
    ("Isoetaceae", "Isoëtes echinospora Durieu"), ("Isoetaceae", "Isoetes lacustris L."),
    ("Poaceae", "Calamagrostis epigejos (L.) Roth"), ("Poaceae", "× Calammophila baltica (Flüggé ex Schrad.) Brand"),
    ("Poaceae", "Festuca ovina L."), ("Poaceae", "Festuca ovina subsp. guestfalica (Boenn. ex Rchb.) K.Richt."),
    ("Poaceae", "Festuca ovina L. subsp. hirtula (Hack. ex Travis) M.J.Wilk."), ("Poaceae", "Festuca ovina var. alpina"),
    ("Poaceae", "Festuca ovina L. f. vivipara"), ("Poaceae", "Festuca rubra L."), ("Poaceae", "Festuca cf. trachyphylla"),
    ("Poaceae", "×Festulolium loliaceum"), ("Poaceae", "xFestulolium pabulare"), ("Poaceae", "Poa annua L.f. var. reptans"),
    ("Poaceae", "Poa sp."), ("Poaceae", "Poaceae indet."),
    ("Rosaceae", "Crataegus × media Bechst."), ("Rosaceae", "Crataegus monogyna Jacq."), ("Rosaceae", "Rosa × alba"),
    ("Salicaceae", "Salix alba L."), ("Salicaceae", "Salix alba nothosubsp. vitellina"), ("Salicaceae", "Salix alba × fragilis"),
    ("Salicaceae", "Salix x rubens Schrank"), ("Salicaceae", "Salix viminalis L."),
    ("", "Abies alba Mill."), ("", "Zea mays"), ("", "Indet."), ("", ""),
]  # fmt: skip


@pytest.mark.parametrize("seed", range(20))
def test_the_order_written_by_hand_comes_out_however_it_is_shuffled(seed: int) -> None:
    sheets = [Written(name, family, number=f"{place:03}") for place, (family, name) in enumerate(BY_HAND)]
    mixed = Random(seed).sample(sheets, len(sheets))
    assert sorted(mixed, key=filing_key) == sheets


# Each word as it may be written, and as it is compared: folded by hand, so that nothing of the program is used.
GENERA = [("Isoëtes", "isoetes"), ("Isoetes", "isoetes"), ("Poa", "poa"), ("Poäceum", "poaceum"), ("Rosa", "rosa"), ("Ångstroemia", "angstroemia"),
          ("Xanthium", "xanthium"), ("×Festulolium", "festulolium"), ("xFestulolium", "festulolium"), ("× Festulolium", "festulolium")]  # fmt: skip
EPITHETS = [("alba", "alba"), ("×alba", "alba"), ("× alba", "alba"), ("x alba", "alba"), ("xanthocarpa", "xanthocarpa"), ("caerulea", "caerulea"),
            ("cærulea", "caerulea"), ("uva-ursi", "uvaursi"), ("uvae", "uvae"), ("añejo", "anejo"), ("variegata", "variegata"), ("exigua", "exigua"),
            ("formosa", "formosa"), ("f-album", "falbum")]  # fmt: skip
AUTHORS = [
    "",
    "L.",
    "(L.) Mill.",
    "L.f.",
    "Hook. f.",
    "Hook. f. & Thomson ex Baker",
    "de Vries",
    "(Ledeb.) von Bunge",
    "Ångstr.",
]
# The short forms of the ranks in their order: ICN article 24.1 and 4.2, from memory.
SHORT = [["subsp.", "ssp.", "nothosubsp."], ["var.", "nothovar."], ["subvar."], ["f.", "fo.", "forma"], ["subf."]]


@dataclass(frozen=True)
class Made:
    """A name put together, and the parts that it was put together from."""

    written: Written
    parts: tuple[object, ...]


def made(dice: Random) -> Made:
    family = dice.choice(["Rosaceae", "rosaceae", "Poaceae", "Poàceae", "Apiaceae", ""])
    genus, plain_genus = dice.choice(GENERA)
    epithet, plain_epithet = dice.choice([*EPITHETS, ("", ""), ("sp.", "")])
    words, below = [genus, epithet, dice.choice(AUTHORS) if plain_epithet else ""], []
    for rank in sorted(dice.sample(range(len(SHORT)), dice.choice([0, 0, 1, 1, 2]))) if plain_epithet else []:
        name, plain = dice.choice([each for each in EPITHETS if not each[0].startswith(("×", "x "))])
        words += [dice.choice(SHORT[rank]), name, dice.choice(AUTHORS)]
        below.append((rank, plain))
    collector, digits = dice.choice(["Ödegård", "Odegard", "Marsh", ""]), dice.choice([9, 10, 100, None])
    number = f"{dice.randrange(10**6):06}"
    text = unicodedata.normalize(dice.choice(["NFC", "NFD"]), " ".join(filter(None, words)))
    plain_family, plain_collector = (
        family.lower().replace("à", "a"),
        {"Ödegård": "odegard"}.get(collector, collector.lower()),
    )
    parts = (
        plain_family == "", plain_family, plain_genus, plain_epithet == "", plain_epithet, below, collector == "", plain_collector,
        digits is None, digits or 0, number,
    )  # fmt: skip
    return Made(Written(text, family, collector, str(digits) if digits else "", number), parts)


@pytest.mark.parametrize("seed", range(40))
def test_names_put_together_from_parts_are_sorted_as_their_parts_are(seed: int) -> None:
    dice = Random(seed)
    sheets = [made(dice) for _ in range(150)]
    by_parts = [each.written for each in sorted(sheets, key=lambda each: each.parts)]
    assert sorted((each.written for each in sheets), key=filing_key) == by_parts


def test_the_rooms_own_list_comes_first_and_what_is_not_in_it_follows_by_name() -> None:
    names = ["Apiaceae", "Rosaceae", "Poaceae", "Zingiberaceae", "Isoëtaceae", ""]
    sheets = [Written("Aaa bbb", family) for family in names]
    places = {key_of(family): place for place, family in enumerate(["Zingiberaceae", "Isoetaceae"], 1)}
    ordered = [each.family for each in sorted(sheets, key=lambda each: filing_key(each, places))]
    assert ordered == ["Zingiberaceae", "Isoëtaceae", "Apiaceae", "Poaceae", "Rosaceae", ""]


def test_one_name_goes_by_collector_and_number_and_10_comes_after_9() -> None:
    told = [("Ash", "9"), ("Ash", "10"), ("Ash", "10a"), ("Ash", ""), ("Birch", "1"), ("", "1")]
    sheets = [Written("Poa annua", "Poaceae", who, number) for who, number in told]
    assert sorted(reversed(sheets), key=filing_key) == sheets


@pytest.mark.parametrize(
    ("name", "family", "why"),
    [("Poa annua", "", ""), ("Poa", "Poaceae", ONLY_GENUS), ("Poa spp.", "", ONLY_GENUS), ("Poaceae", "", ONLY_FAMILY),
     ("Gramineae sp.", "", ONLY_FAMILY), ("indet.", "Poaceae", ONLY_FAMILY), ("", "", NO_NAME), ("?", "", NO_NAME), ("×", "", NO_NAME)],
)  # fmt: skip
def test_what_has_no_whole_name_says_why_it_comes_last(name: str, family: str, why: str) -> None:
    assert plant_of(name, family).why_last == why


@pytest.mark.parametrize(
    ("lying", "begins"), [(0, False), (1, False), (14, False), (15, True), (16, False), (30, True)]
)
def test_a_folder_is_begun_when_the_last_one_is_full(lying: int, begins: bool) -> None:
    assert begins_folder(lying, 15) is begins
