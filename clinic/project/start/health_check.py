"""Health check: ask for a page as the proxy would. `python -m clinic.project.start.health_check URL`"""

import os
import sys
import urllib.error
import urllib.request


def check_page(page: str, host: str) -> int:
    """Return 0 where the page answers 200, else 1."""
    asked = urllib.request.Request(page, headers={"Host": host, "X-Forwarded-Proto": "https"})
    # A proxy of the environment would be asked for an address that only this container knows.
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with direct.open(asked, timeout=4) as answer:
            return int(answer.status != 200)
    except (urllib.error.URLError, OSError) as error:
        sys.stderr.write(f"{page}: {error}\n")
        return 1


if __name__ == "__main__":
    sys.exit(check_page(sys.argv[1], os.environ.get("ALLOWED_HOSTS", "localhost").split(",")[0].strip()))
