"""What can be asked of a page, and how such requests are checked."""

from ownhand.composer.settings.life import Life

__all__ = ["Life"]
