"""Make the README's pictures again: `python -m sample_sheets.pictures HAND POSTCARD.png`.

HAND is the sample's hand as the README's first command makes it, POSTCARD.png the preview of its postcard.
"""

from __future__ import annotations

import sys
from pathlib import Path

from PIL import Image

FOLDER = Path(__file__).parent
PICTURES = FOLDER / "pictures"
WIDTH_PX = 900


def kept(picture: Image.Image, name: str, colours: int = 96, *, width: int = WIDTH_PX) -> Path:
    """Write a picture small: `width` px wide at most, with few colours."""
    if picture.width > width:
        size = (width, round(picture.height * width / picture.width))
        picture = picture.resize(size, Image.Resampling.LANCZOS)
    PICTURES.mkdir(exist_ok=True)
    path = PICTURES / name
    picture.convert("RGB").quantize(colours, dither=Image.Dither.NONE).save(path, optimize=True)
    return path


def cropped(path: Path, box: tuple[float, float, float, float]) -> Image.Image:
    """Return a part of a picture; `box` is left, top, right, bottom as shares of its sides."""
    with Image.open(path) as picture:
        w, h = picture.size
        return picture.crop((round(box[0] * w), round(box[1] * h), round(box[2] * w), round(box[3] * h)))


def main(argv: list[str]) -> int:
    """Make all four pictures."""
    hand, postcard = Path(argv[0]), Path(argv[1])
    made = [
        kept(cropped(FOLDER / "lantern" / "scans" / "page-1.jpg", (0, 0, 1, 0.62)), "sheet.png", 128),
        kept(cropped(next(hand.glob("captures/*/page-01-contact.png")), (0.04, 0.1, 0.62, 0.47)), "contact.png"),
        kept(cropped(hand / "font" / "proof.png", (0, 0, 1, 0.75)), "proof.png", 32),
        kept(cropped(postcard, (0, 0, 1, 0.62)), "postcard.png", 32),
    ]
    for path in made:
        print(f"{path}: {path.stat().st_size // 1024} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
