"""Write the addresses of many rows: the pattern of a page is looked up once, and not for each row."""

from functools import lru_cache

from django.urls import get_script_prefix, reverse

# A key that no row bears, to find where it stands in an address.
_NOBODY = 0


def address_of(name: str, key: int) -> str:
    """Give the address of a page that is named by one key, as `reverse` would."""
    before, after = _around_key(name, get_script_prefix())
    return f"{before}{key}{after}"


@lru_cache(maxsize=200)
def _around_key(name: str, prefix: str) -> tuple[str, str]:
    # The prefix is an argument because a program that is served under another path has other addresses.
    before, _key, after = reverse(name, args=[_NOBODY]).partition(f"{_NOBODY}")
    return before, after
