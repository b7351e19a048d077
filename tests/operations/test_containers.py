"""How a server is run, in containers and without: as somebody without rights, watched, bounded, and ended gently."""

from __future__ import annotations

import re
import shutil
import subprocess
from configparser import RawConfigParser
from pathlib import Path
from typing import Any

import pytest
import yaml

from testround import environment
from tests.operations.servers import ROOT

COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
# They do one thing when the others are brought up, and end.
ONCE = {"migrate", "owners", "bucket"}
# It gives new volumes, which come as root's, to those who write them.
AS_ROOT = {"owners"}
UNITS = sorted((ROOT / "deploy" / "systemd").glob("*.service"))
DOCKERFILE = (ROOT / "Dockerfile").read_text(encoding="utf-8")


def test_there_is_everything_that_a_server_is_made_of() -> None:
    assert set(SERVICES) == {
        *(
            "proxy",
            "web",
            "worker",
            "beat",
            "migrate",
            "postgres",
            "redis",
            "storage",
            "bucket",
            "owners",
            "mail",
        )
    }


@pytest.mark.parametrize("name", SERVICES)
def test_a_container_has_no_rights_that_it_does_not_need(name: str) -> None:
    service = SERVICES[name]

    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service.get("cap_add", []) == {"proxy": ["NET_BIND_SERVICE"], "owners": ["CHOWN"]}.get(name, [])
    assert (service["user"].split(":")[0] == "0") is (name in AS_ROOT)
    assert "privileged" not in service
    assert "/var/run/docker.sock" not in str(service)


@pytest.mark.parametrize("name", SERVICES)
def test_a_container_is_bounded_watched_and_ended_gently(name: str) -> None:
    service = SERVICES[name]

    assert set(service["deploy"]["resources"]["limits"]) == {"cpus", "memory", "pids"}
    assert service["logging"]["options"]["max-size"]
    assert service["restart"] == ("no" if name in ONCE else "unless-stopped")
    if name in ONCE:
        assert service["healthcheck"] == {"disable": True}
    else:
        assert service["healthcheck"]["test"]
    if name in ("web", "worker", "postgres", "proxy"):
        assert int(service["stop_grace_period"].removesuffix("s")) >= 30


def test_only_the_proxy_is_reached_from_outside() -> None:
    published = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}

    assert set(published) == {"proxy", "mail"}
    assert [port for port in published["mail"] if not port.startswith("127.0.0.1:")] == []


def test_whatever_is_waited_for_and_mounted_is_there() -> None:
    for service in SERVICES.values():
        for other, how in service.get("depends_on", {}).items():
            assert other in SERVICES
            expected = "service_completed_successfully" if other in ONCE else "service_healthy"
            assert how == {"condition": expected}
        for volume in service.get("volumes", []):
            source = volume.split(":")[0]
            assert source in COMPOSE["volumes"] or (ROOT / source).exists()


def test_secrets_come_from_the_environment_alone() -> None:
    written = [
        f"{name}: {key}"
        for name, service in SERVICES.items()
        for key, value in service.get("environment", {}).items()
        if re.search("PASSWORD|SECRET|TOKEN|_KEY", key)
        and not re.fullmatch(r"\$\{\w+:[-?][^}]*\}", str(value))
    ]

    assert written == []


def test_postgres_has_the_password_that_the_program_is_given() -> None:
    assert (
        SERVICES["postgres"]["environment"]["POSTGRES_PASSWORD"]
        in SERVICES["web"]["environment"]["DATABASE_URL"]
    )


def test_the_image_runs_as_the_user_that_compose_names_by_the_configuration_of_the_house() -> None:
    user = SERVICES["web"]["user"].split(":")[0]

    assert f"--uid {user} " in DOCKERFILE
    assert re.search(r"^USER testround$", DOCKERFILE, re.MULTILINE)
    assert '"--config=python:testround.serving"' in DOCKERFILE
    assert DOCKERFILE.index("USER testround") < DOCKERFILE.index('CMD ["gunicorn"')


def test_the_proxy_hides_what_is_for_machines_and_says_who_asks_by_itself() -> None:
    caddy = (ROOT / "deploy" / "caddy" / "Caddyfile").read_text(encoding="utf-8")
    nginx = (ROOT / "deploy" / "nginx" / "testround.conf").read_text(encoding="utf-8")

    for said in (
        "path /metrics /readyz",
        "header_up X-Forwarded-For {remote_host}",
        "header_up -X-Forwarded-Host",
    ):
        assert said in caddy
    for said in ("= /metrics { return 404; }", "= /readyz { return 404; }", "X-Forwarded-For $remote_addr;"):
        assert said in nginx
    for text in (caddy, nginx):
        assert text.count("{") == text.count("}")


# -- without containers ------------------------------------------------------------------------------------


def unit(path: Path) -> dict[str, dict[str, list[str]]]:
    """A unit's sections; systemd lets a name stand more than once."""
    sections: dict[str, dict[str, list[str]]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            current = sections.setdefault(line.strip("[]"), {})
        elif "=" in line and not line.startswith("#"):
            name, _, value = line.partition("=")
            current.setdefault(name, []).append(value)
    return sections


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.stem)
def test_a_unit_has_no_rights_that_it_does_not_need(path: Path) -> None:
    service = unit(path)["Service"]

    for name, value in {
        "User": "testround",
        "NoNewPrivileges": "true",
        "ProtectSystem": "strict",
        "ProtectHome": "true",
        "PrivateTmp": "true",
        "PrivateDevices": "true",
        "CapabilityBoundingSet": "",
        "RestrictAddressFamilies": "AF_UNIX AF_INET AF_INET6",
        "EnvironmentFile": "/etc/testround.env",
    }.items():
        assert service[name] == [value]


def test_the_units_run_what_compose_runs() -> None:
    programs = {path.stem.removeprefix("testround-"): unit(path)["Service"]["ExecStart"][0] for path in UNITS}

    assert set(programs) == {"web", "worker", "beat", "backup"}
    for name in ("worker", "beat"):
        assert re.sub(r"--schedule=\S+", "", SERVICES[name]["command"]).strip() in re.sub(
            r"--schedule=\S+", "", programs[name]
        )
    assert "--config python:testround.serving testround.wsgi:application" in programs["web"]


def test_systemd_understands_the_units(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        # Then every line is at least one that a unit may have.
        for path in UNITS:
            parser = RawConfigParser(strict=False)
            parser.read(path)
            assert set(parser.sections()) <= {"Unit", "Service", "Install", "Timer"}
        return
    for path in (ROOT / "deploy" / "systemd").iterdir():
        text = re.sub(r"/srv/testround/\.venv/bin/\w+", "/bin/true", path.read_text(encoding="utf-8"))
        (tmp_path / path.name).write_text(text.replace("/srv/testround", "/tmp"), encoding="utf-8")

    checked = subprocess.run(
        ["systemd-analyze", "verify", *map(str, sorted(tmp_path.iterdir()))], capture_output=True, text=True
    )

    assert (checked.returncode, checked.stderr) == (0, "")


def test_the_address_a_worker_shows_its_counts_at_is_a_host_and_a_port(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("SHOWN", "192.0.2.7:9101")

    assert environment.address("SHOWN") == ("192.0.2.7", 9101)
    for wrong in ("9101", "host:", "host:port", "host:70000"):
        monkeypatch.setenv("SHOWN", wrong)
        with pytest.raises(environment.ImproperlyConfigured, match="write a host and a port"):
            environment.address("SHOWN")
