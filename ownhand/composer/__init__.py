"""The composer: text in, ready-to-plot pages out."""

from ownhand.composer.composer import Composer
from ownhand.composer.composition import Composition
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.life import Life
from ownhand.composer.settings.pens import Pen
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import Ruling, TextBox
from ownhand.composer.text.fitter import Notice

__all__ = ["Composer", "Composition", "Life", "Notice", "Pen", "PlotPage", "Ruling", "Settings", "TextBox"]
