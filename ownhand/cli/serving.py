"""The commands that answer a browser or other programs, until they are stopped."""

from __future__ import annotations

from pathlib import Path

import click

from capture.errors import UsageError
from ownhand import console
from ownhand.cli.options import HAND, TEXT_FILE, say_staleness, text_of

PORT = click.option(
    "--port", default=0, show_default=True, type=click.IntRange(0, 65535), help="Port to listen on; 0: any free one."
)
NO_BROWSER = click.option("--no-browser", is_flag=True, help="Only print the address.")


def name_of(hand: Path) -> str:
    """Return what a hand, or a font file, is called in requests: its folder's whole name, or the file's.

    Examples
    --------
    >>> name_of(Path("hands/A. Keeper")), name_of(Path("fonts/keeper.ufo"))
    ('A. Keeper', 'keeper')
    """
    from ownhand.hands.font_of_hand import is_font_file

    path = hand.resolve()
    return path.stem if is_font_file(path) else path.name


@click.command(short_help="Look through the letters in the browser and mend them.")
@HAND
@PORT
@NO_BROWSER
def review(hand: Path, port: int, no_browser: bool) -> int:
    """Look through the letters in the browser and mend the few that need it."""
    from ownhand.hands.hand import open_hand
    from ownhand.workroom.server import run

    open_hand(hand)
    run(hand, at="#letters", port=port, open_browser=not no_browser, announce=console.say)
    return 0


@click.command("open", short_help="Do the whole job in the browser.")
@click.argument("folder", default=".", type=click.Path(path_type=Path))
@PORT
@NO_BROWSER
def open_folder(folder: Path, port: int, no_browser: bool) -> int:
    """Do the whole job in the browser: all hands in FOLDER, from a new one to the plotter's files."""
    from ownhand.workroom.server import run

    run(folder, port=port, open_browser=not no_browser, announce=console.say)
    return 0


@click.command(short_help="Answer HTTP requests: text in, ready-to-plot pages out.")
@click.argument("hands", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on; anything but loopback needs --token-file.",
)
@click.option("--port", default=8214, show_default=True, type=click.IntRange(1, 65535), help="Port to listen on.")
@click.option("--token-file", type=TEXT_FILE, help="File with the token that requests must bear.")
@click.option("--workers", default=0, type=click.IntRange(0, 64), help="Processes; 0: one for each core.")
def serve(hands: tuple[Path, ...], host: str, port: int, token_file: Path | None, workers: int) -> int:
    """Answer HTTP requests: text in, ready-to-plot pages out; /openapi.json describes them.

    HANDS are folders of hands, or font files: .ufo, .ufoz or SVG 1.1 fonts.
    """
    from ownhand.hands.font_of_hand import font_of
    from ownhand.serve.server import serve as answer

    for hand in hands:
        say_staleness(hand)
    fonts = {name_of(hand): font_of(hand) for hand in hands}
    if len(fonts) < len(hands):
        raise UsageError("serve", "two hands have the same folder name", "Rename one of the folders.")
    token = text_of(token_file).strip() if token_file else None
    named = f"[{host}]" if ":" in host and not host.startswith("[") else host  # RFC 3986, 3.2.2
    told = f"http://{named}:{port}/ answers for {', '.join(fonts)}; /openapi.json tells how to ask. Stop with Ctrl-C."
    answer(fonts, host=host, port=port, token=token, workers=workers, announce=lambda _: console.say(told))
    return 0
