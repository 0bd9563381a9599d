"""What a readings server can answer instead of doing what was asked, each with its remedy."""

from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_domain.ports import StoreError

_SHORT = 200
_BAD_REQUEST, _TOO_LARGE = 400, 413
_KEY_FAULTS = (401, 403)


class AwayError(StoreError):
    """The server cannot be reached, or is too busy; trying again later can help."""


class RejectedError(StoreError):
    """The server refused what stands in the request itself; sending it again cannot help."""

    def __init__(self, message: str, said: str) -> None:
        super().__init__(message)
        self.said = said


class MissingError(StoreError):
    """The server knows no such database or bucket under its query interface."""


def unreachable(address: InfluxAddress, error: BaseException) -> AwayError:
    """Say that no answer came."""
    cause = " ".join(str(error).split())[:_SHORT] or type(error).__name__
    if "CERTIFICATE" in cause.upper() or "SSL" in cause.upper():
        remedy = "name the CA that signed its certificate: [store] readings_ca_file"
    else:
        remedy = "start the server, or correct host and port in [store] readings"
    return AwayError(f"readings server {address} does not answer ({cause}): {remedy}")


def answered(address: InfluxAddress, status: int, said: str) -> StoreError:
    """Turn an HTTP status that is no success into the fault that fits."""
    said = " ".join(said.split())[:_SHORT] or "no reason given"
    if status in _KEY_FAULTS:
        return StoreError(
            f"readings server {address} refuses the token ({status}: {said}): put one that may"
            " read and write this bucket into the file that [store] readings_token_file names"
        )
    if status == 404:
        return MissingError(no_bucket(address, said))
    if status in {_BAD_REQUEST, _TOO_LARGE}:
        return rejected(address, said)
    return AwayError(
        f"readings server {address} answers {status} ({said}): see the server's own log"
    )


def rejected(address: InfluxAddress, said: str) -> RejectedError:
    """Say that the server did not understand or accept what was sent."""
    return RejectedError(f"readings server {address} refuses the request ({said})", said)


def in_results(address: InfluxAddress, said: str) -> StoreError:
    """Turn an error that came inside an answer with status 200 into the fault that fits."""
    text = said.lower()
    if "not found" in text and ("database" in text or "retention policy" in text):
        return MissingError(no_bucket(address, said))
    if "authoriz" in text or "unauthenticated" in text:
        return answered(address, 401, said)
    if "timeout" in text or "max-" in text:
        return AwayError(f"readings server {address} gave up on a question ({said})")
    return rejected(address, said)


def no_bucket(address: InfluxAddress, said: str) -> str:
    """Word that there is no such bucket."""
    return (
        f"readings server {address} has no bucket {address.bucket!r} ({said}): make it with"
        f" `influx bucket create --name {address.bucket}`, or correct the name in [store] readings"
    )


def no_mapping(address: InfluxAddress, bucket_id: str) -> StoreError:
    """Say that the bucket is there but cannot be asked in InfluxQL."""
    return StoreError(
        f"readings server {address}: the bucket is there, but no database name is mapped to it,"
        f" so it cannot be read: run `influx v1 dbrp create --db {address.bucket} --rp autogen"
        f" --default --bucket-id {bucket_id}`"
    )


def cannot_delete(address: InfluxAddress, said: str) -> StoreError:
    """Say that this server keeps everything."""
    return StoreError(
        f"readings server {address} does not delete single readings ({said}): leave"
        " [store] keep_days out and set the retention of the bucket on the server"
    )
