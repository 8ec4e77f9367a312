"""What can be asked of a page, and how such requests are checked."""

from ownhand.composer.settings.settings import Life

__all__ = ["Life"]
