"""The journals of the store's tests: campaigns run on them too."""

from tests.store.conftest import fresh_url, pattern, url

__all__ = ["fresh_url", "pattern", "url"]
