"""Signatures of posted messages, against the published vector, and the guide's own example against what is posted."""

from __future__ import annotations

import base64
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from testround.following import signing

# Standard Webhooks, libraries/javascript/src/webhook.test.ts, "sign function works", read in the specification's own
# repository (github.com/standard-webhooks/standard-webhooks) at commit 10d3e46d720c4e5861a792bec25792a04ad4e2b3.
VECTOR = {
    "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "message_id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
    "timestamp": 1614265330,
    "body": b'{"test": 2432232314}',
}
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_published_vector_is_signed_as_published() -> None:
    assert signing.signature(**VECTOR) == SIGNATURE


def test_two_secrets_sign_with_a_blank_between() -> None:
    other = signing.new_secret()

    headers = signing.headers([VECTOR["secret"], other], *list(VECTOR.values())[1:])

    first, second = headers["webhook-signature"].split(" ")
    assert (headers["webhook-id"], headers["webhook-timestamp"]) == (VECTOR["message_id"], "1614265330")
    assert (first, second == SIGNATURE) == (SIGNATURE, False)


def test_a_secret_is_long_enough_for_the_specification_and_never_the_same() -> None:
    made = {signing.new_secret() for _ in range(50)}

    assert len(made) == 50
    assert {secret[:6] for secret in made} == {"whsec_"}
    # "Random. At least 24 bytes (192 bits, 512 maximum)."
    assert {len(base64.b64decode(secret[6:])) for secret in made} == {32}


@pytest.fixture(scope="module")
def is_genuine() -> Callable[..., bool]:
    """The example of the guide for receivers."""
    (example,) = re.findall(
        r"```python\n(.*?)```", Path("docs/webhooks.md").read_text(encoding="utf-8"), re.DOTALL
    )
    module: dict[str, Any] = {}
    exec(example, module)  # noqa: S102 -- our own guide
    return module["is_genuine"]


def signed_now(secrets: list[str], *, ago: int = 0) -> tuple[dict[str, str], bytes]:
    body = '{"text":"Häkeln"}'.encode()
    return signing.headers(secrets, "msg_1", int(time.time()) - ago, body), body


def test_the_guides_example_takes_what_is_signed_by_either_secret(is_genuine: Callable[..., bool]) -> None:
    new, former = signing.new_secret(), signing.new_secret()

    assert is_genuine(new, *signed_now([new]))
    assert is_genuine(former, *signed_now([new, former]))


def test_the_guides_example_turns_away_what_is_stale_changed_or_signed_by_another(
    is_genuine: Callable[..., bool],
) -> None:
    secret = signing.new_secret()
    headers, body = signed_now([secret])

    assert not is_genuine(secret, *signed_now([secret], ago=301))
    assert not is_genuine(secret, *signed_now([secret], ago=-301))
    assert not is_genuine(secret, headers, body + b" ")
    assert not is_genuine(secret, {**headers, "webhook-id": "msg_2"}, body)
    assert not is_genuine(signing.new_secret(), headers, body)
    assert not is_genuine(secret, {**headers, "webhook-signature": "v1, ü"}, body)
    assert [
        is_genuine(secret, {k: v for k, v in headers.items() if k != name}, body) for name in headers
    ] == [
        False,
        False,
        False,
    ]
