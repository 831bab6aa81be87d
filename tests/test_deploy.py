"""The compose file, the image recipe and the proxy's file, checked without an engine: no image is built."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from ruamel.yaml import YAML

ROOT = Path(__file__).resolve().parent.parent
DOCKERFILE = (ROOT / "Dockerfile").read_text()
SECRETS = ("SECRET_KEY", "POSTGRES_PASSWORD", "SITE_NAME")


@pytest.fixture(scope="module")
def compose():
    return YAML(typ="safe").load((ROOT / "docker-compose.yml").read_text())


def instructions(word):
    joined = DOCKERFILE.replace("\\\n", " ")
    return [line[len(word) :].strip() for line in joined.splitlines() if line.startswith(f"{word} ")]


def check_schema(path):
    words = ["--builtin-schema", "vendor.compose-spec", str(path)]
    return subprocess.run(
        [sys.executable, "-m", "check_jsonschema", *words], capture_output=True, text=True, check=False
    )


def test_the_compose_file_fits_the_published_schema():
    # Source: the compose specification's JSON schema, as check-jsonschema ships it.
    ran = check_schema(ROOT / "docker-compose.yml")
    assert ran.returncode == 0, ran.stdout


def test_the_schema_check_would_notice_a_misspelt_word(tmp_path):
    spoilt = tmp_path / "docker-compose.yml"
    spoilt.write_text((ROOT / "docker-compose.yml").read_text().replace("healthcheck:", "healtcheck:", 1))
    assert check_schema(spoilt).returncode != 0


def test_all_parts_are_there(compose):
    assert set(compose["services"]) == {"migrate", "web", "worker", "beat", "postgres", "redis", "proxy"}


def test_only_the_proxy_can_be_reached_from_outside(compose):
    assert [name for name, service in compose["services"].items() if "ports" in service] == ["proxy"]


@pytest.mark.parametrize("name", SECRETS)
def test_a_secret_has_no_default(name):
    uses = re.findall(r"\$\{" + name + r"[^}]*\}", (ROOT / "docker-compose.yml").read_text())
    assert uses and all(use.startswith(f"${{{name}:?") for use in uses)


def test_whoever_needs_the_database_waits_for_it(compose):
    for name in ("web", "worker", "beat"):
        needs = compose["services"][name]["depends_on"]
        assert needs["migrate"]["condition"] == "service_completed_successfully"
        assert needs["redis"]["condition"] == "service_healthy"


def test_every_volume_is_declared_and_every_file_exists(compose):
    for service in compose["services"].values():
        for volume in service.get("volumes", []):
            source = volume.split(":")[0]
            known = (ROOT / source).is_file() if source.startswith(".") else source in compose["volumes"]
            assert known, volume


def test_settings_understand_the_environment_of_compose(compose, tmp_path):
    given = {"SECRET_KEY": "k" * 60, "SITE_NAME": "recalls.example.org", "POSTGRES_PASSWORD": "pw"}
    env = {"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path)}
    for name, value in compose["services"]["web"]["environment"].items():
        known = re.sub(r"\$\{(\w+):\?[^}]*\}", lambda match: given[match[1]], value)
        env[name] = re.sub(r"\$\{\w+:-([^}]*)\}", r"\1", known)
    code = (
        "import json\nfrom clinic.project import settings as s\n"
        "print(json.dumps([s.DATABASES['default']['HOST'], s.CELERY_BROKER_URL, s.QUARTERDAY_QUEUE,"
        " s.SECURE_PROXY_SSL_HEADER, s.ALLOWED_HOSTS]))"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout) == [
        "postgres",
        "redis://redis:6379/0",
        "celery",
        ["HTTP_X_FORWARDED_PROTO", "https"],
        ["recalls.example.org"],
    ]


def test_the_image_copies_only_what_exists_and_is_not_ignored():
    kept = {line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    sources = [
        source
        for words in instructions("COPY")
        if not words.startswith("--from")
        for source in words.split()[:-1]
    ]
    assert set(sources) == kept
    for source in sources:
        assert (ROOT / source).exists(), source


def test_the_image_runs_as_nobody_in_particular_on_hashed_packages():
    assert instructions("USER") == ["10001:10001"]
    install = next(words for words in instructions("RUN") if "pip install" in words)
    assert "--require-hashes" in install and "requirements.txt" in install


def test_the_image_holds_no_key():
    assert not any("SECRET_KEY" in words for words in instructions("ENV") + instructions("ARG"))


def test_the_image_collects_static_files_with_the_settings_it_is_given(tmp_path):
    step = next(words for words in instructions("RUN") if "collectstatic" in words)
    env = dict(word.split("=", 1) for word in step.split() if re.match(r"[A-Z_]+=", word))
    env |= {"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path), "STATIC_ROOT": str(tmp_path / "static")}
    ran = subprocess.run(
        [sys.executable, "manage.py", "collectstatic", "--no-input"],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "static" / "staticfiles.json").is_file()


def test_what_the_containers_call_can_be_imported(compose):
    called = {"clinic.project.wsgi", "clinic.project.celery", "clinic.project.start.health_check"}
    text = DOCKERFILE + (ROOT / "docker-compose.yml").read_text()
    assert set(re.findall(r"clinic\.project(?:\.\w+)+", text)) == called
    for name in called:
        assert (ROOT / (name.replace(".", "/") + ".py")).is_file()


@pytest.mark.skipif(shutil.which("caddy") is None, reason="no caddy on this machine; CI has it")
@pytest.mark.parametrize("issuer", ["internal", "staff@example.org"])
def test_the_proxy_understands_its_file(issuer, tmp_path):
    env = {"PATH": os.environ["PATH"], "HOME": str(tmp_path), "SITE_NAME": "recalls.example.org"}
    ran = subprocess.run(
        ["caddy", "validate", "--adapter", "caddyfile", "--config", str(ROOT / "deploy" / "Caddyfile")],
        env={**env, "TLS_ISSUER": issuer},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
