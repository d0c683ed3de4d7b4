"""``mqtts://``: our client against a mosquitto with a certificate that an authority made for the test has signed."""

from __future__ import annotations

import shutil
import ssl
import subprocess
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from pitwall.app.brokers import client_address
from pitwall.app.settings import Settings
from pitwall.bus.address import BrokerAddress, parse_address, tls_context
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import BrokerError, UserError
from tests.contract.bus_rigs import QUICK, mosquitto


def _openssl(folder: Path, *words: str) -> None:
    program = shutil.which("openssl")
    assert program, "the tests need openssl: install the package openssl (apt-get install)"
    subprocess.run([program, *words], cwd=folder, check=True, capture_output=True)


@dataclass(frozen=True)
class Certificates:
    """An authority, a stranger's authority, and a certificate of the first for 127.0.0.1."""

    folder: Path

    @property
    def authority(self) -> str:
        """Of the broker."""
        return str(self.folder / "authority.pem")

    @property
    def stranger(self) -> str:
        """Of somebody else."""
        return str(self.folder / "stranger.pem")


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """Made once, with the openssl program, valid for a day."""
    folder = tmp_path_factory.mktemp("certificates")
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    for name in ("authority", "stranger"):
        _openssl(folder, "req", "-x509", *curve, "-days", "1", "-subj", f"/CN=test {name}", "-keyout", f"{name}.key",
                 "-out", f"{name}.pem", "-addext", "keyUsage=critical,keyCertSign")
    _openssl(folder, "req", *curve, "-subj", "/CN=broker", "-keyout", "broker.key", "-out", "broker.csr")
    (folder / "broker.ext").write_text("subjectAltName=IP:127.0.0.1\n", encoding="utf-8")
    _openssl(folder, "x509", "-req", "-in", "broker.csr", "-CA", "authority.pem", "-CAkey", "authority.key",
             "-CAcreateserial", "-days", "1", "-extfile", "broker.ext", "-out", "broker.pem")
    return Certificates(folder)


@pytest.fixture
async def port(certificates: Certificates, tmp_path: Path) -> AsyncIterator[int]:
    """A mosquitto that speaks TLS alone."""
    folder = certificates.folder
    async with mosquitto(tmp_path, f"certfile {folder}/broker.pem\nkeyfile {folder}/broker.key\n") as running:
        yield running


async def test_a_broker_of_the_authority_given_is_trusted(port: int, certificates: Certificates) -> None:
    """Messages go there and back; the text of the address says mqtts."""
    address = parse_address(f"mqtts://127.0.0.1:{port}", certificates.authority)
    assert str(address) == f"mqtts://127.0.0.1:{port}"
    bus, taken = MqttBus(address, settings=QUICK), []
    await bus.start()
    bus.publish("a", b"x", sent=lambda: taken.append("x"))
    await bus.stop()
    assert taken == ["x"]


@pytest.mark.parametrize("which", ["stranger", None])
async def test_a_broker_that_is_not_trusted_is_refused_in_words(
    port: int, certificates: Certificates, which: str | None
) -> None:
    """Another authority's, or none that this machine knows: no link, and the message names option and variable."""
    ca_file = certificates.stranger if which else None
    bus = MqttBus(parse_address(f"mqtts://127.0.0.1:{port}", ca_file), settings=QUICK)
    with pytest.raises(BrokerError, match=r"certificate of the broker .* is not trusted .*--ca-file, PITWALL_CA_FILE"):
        await bus.start()


async def test_a_certificate_for_another_name_is_refused(port: int, certificates: Certificates) -> None:
    """The host must be the one in the certificate."""
    address = BrokerAddress("localhost", port, tls=True, ca_file=certificates.authority)
    with pytest.raises(BrokerError, match="by the name in the certificate"):
        await MqttBus(address, settings=QUICK).start()


async def test_plain_mqtt_to_a_tls_port_is_no_broker(port: int) -> None:
    """A sentence that names the address, and no hang."""
    with pytest.raises(BrokerError, match=f"mqtt://127.0.0.1:{port}"):
        await MqttBus(f"mqtt://127.0.0.1:{port}", settings=QUICK).start()


async def test_tls_to_a_plain_port_asks_whether_it_speaks_tls(tmp_path: Path) -> None:
    """The sentence names the likely mistake."""
    async with mosquitto(tmp_path) as plain:
        with pytest.raises(BrokerError, match="does it speak TLS there"):
            await MqttBus(f"mqtts://127.0.0.1:{plain}", settings=QUICK).start()


@pytest.mark.parametrize("text", [None, "no certificate in here"])
def test_a_file_that_is_no_authority_is_refused_before_any_link(tmp_path: Path, text: str | None) -> None:
    """Missing, or without a certificate: the file is named, with the option."""
    path = tmp_path / "authority.pem"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=r"authority\.pem: cannot be used .*--ca-file"):
        client_address(Settings(), "mqtts://broker", str(path))
    assert client_address(Settings(), "mqtt://broker", str(path)).ca_file is None, "not asked for without TLS"


def test_the_setting_stands_in_for_the_option(certificates: Certificates, monkeypatch: pytest.MonkeyPatch) -> None:
    """PITWALL_CA_FILE is used by every client of an mqtts:// address; without it the machine's authorities are."""
    monkeypatch.setenv("PITWALL_CA_FILE", certificates.authority)
    assert client_address(Settings(), "mqtts://broker").ca_file == certificates.authority
    assert client_address(Settings(), "mqtts://broker", certificates.stranger).ca_file == certificates.stranger
    context = tls_context(parse_address("mqtts://broker"))
    assert context is not None
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)
    assert tls_context(parse_address("mqtt://broker")) is None
