"""The whole job in a real browser, from an empty folder to the plotter's files, without a command.

What the page gives is held against what the commands give for the same settings, byte for byte.
"""

from __future__ import annotations

import pytest

from ownhand.workroom.server import start
from tests.ownhand.on_page import PATIENCE_S, tab
from tests.ownhand.person import Person
from tests.ownhand.workroom.job_steps import (
    ADDRESS,
    MESSAGE,
    are_as_the_command_writes,
    begin_hand,
    drop_scans,
    fill_in,
    is_as_the_command_writes,
    keep_layout,
    look_through_letters,
    save_sheet,
    save_text,
    take_files,
    take_guests,
    thirty_guests,
    two_boxes_two_pens,
    type_message,
)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

CHARACTERS = "adehiklmnorstuwD,7"


def test_the_whole_job_from_an_empty_folder_to_the_plotters_files(browser, tmp_path, faults, say):
    folder = tmp_path / "hands"
    folder.mkdir()
    running = start(folder)
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    context.set_default_timeout(PATIENCE_S * 1000)
    person = Person(tab(context, running.url, faults))
    hand = begin_hand(person, folder)
    save_sheet(person, hand, CHARACTERS)
    scans = fill_in(hand, tmp_path)

    begun = person.counted
    drop_scans(person, scans)
    look_through_letters(person, hand)
    type_message(person)
    two_boxes_two_pens(person)
    card = take_files(person)
    from_scans_to_file = person.counted - begun
    layout = keep_layout(person, hand)
    text = save_text(person, tmp_path / "text.txt")
    before_guests = person.counted
    table = thirty_guests(tmp_path / "guests.csv")
    cards = take_guests(person, table)
    for_guests = person.counted - before_guests
    template = save_text(person, tmp_path / "card.txt")
    context.close()
    running.stop()

    say(f"from scans to file: {from_scans_to_file}; thirty guests more: {for_guests}")
    assert from_scans_to_file.presses <= 18
    assert from_scans_to_file.typed == len(MESSAGE) + len(ADDRESS)
    is_as_the_command_writes(card, hand, text, layout, tmp_path / "out")
    are_as_the_command_writes(cards, hand, table, template, layout, tmp_path / "cards")
