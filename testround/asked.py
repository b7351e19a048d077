"""``python -m testround.asked /readyz``: ask the web process on this machine, as a container's health check does.

Asked under a name that the program answers to, for it refuses all others. Ends with 0 when the answer is 200.
"""

from __future__ import annotations

import http.client
import sys

from testround import environment

SECONDS = 4


def status_of(path: str) -> int:
    """The status that the web process of this machine answers with.

    Raises
    ------
    OSError
        It does not answer.
    """
    port = environment.text("TESTROUND_BIND", "127.0.0.1:8000").rpartition(":")[2]
    host = environment.names("ALLOWED_HOSTS", default=["127.0.0.1"])[0].strip(".*") or "127.0.0.1"
    connection = http.client.HTTPConnection("127.0.0.1", int(port), timeout=SECONDS)
    try:
        connection.request("GET", path, headers={"Host": host})
        return connection.getresponse().status
    finally:
        connection.close()


if __name__ == "__main__":
    try:
        answered = status_of(sys.argv[1])
    except OSError as error:
        sys.exit(f"no answer: {error}")
    sys.exit(0 if answered == 200 else f"answered {answered}")
