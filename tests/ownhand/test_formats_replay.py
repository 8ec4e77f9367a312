"""A page that is written again before one's eyes."""

from __future__ import annotations

import json
import re
from dataclasses import replace

from ownhand.composer.formats.replay import replay_data, replay_html
from tests.ownhand.composing import composer


def test_what_a_hand_is_called_stands_in_the_title_and_nowhere_else() -> None:
    page = replace(composer().compose("a lamp").pages[0], family="{{data}} & </title> {{title}}")
    document = replay_html(page)
    title, data = re.search(r"<title>(.*)</title>", document), re.search(r"const page = (.*);\n", document)

    assert title is not None and title[1] == "{{data}} &amp; &lt;/title&gt; {{title}}, page 1"
    assert data is not None and json.loads(data[1]) == replay_data(page)
