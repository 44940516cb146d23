"""Failures a user can cause: one tree, stable exit codes, messages that say what to do next."""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """Exit codes of the command line. They are stable: scripts may rely on them.

    0 is success; 1 (a defect of the program) and 2 (a wrong command line) are left to the command line.
    """

    PHOTO = 10
    SCALE = 11
    OUTLINE = 12
    PITH = 13
    CRACKS = 14
    PLUGIN = 15
    DOCUMENT = 16
    STOCK = 17
    SHOP = 18
    NO_PLAN = 19
    UNSAFE_PLAN = 20
    OUTPUT = 21
    SPECIES = 22
    MOISTURE = 23
    CATALOGUE = 24
    MARKS = 25


class PhotonestError(Exception):
    """Something the user can mend.

    Parameters
    ----------
    message : str
        What is wrong and where.
    hint : str
        What to do next; empty where the message says it all.
    """

    exit_code: ExitCode

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class PhotoError(PhotonestError):
    """The photo can't be read, or can't be used."""

    exit_code = ExitCode.PHOTO


class ScaleError(PhotonestError):
    """No usable scale."""

    exit_code = ExitCode.SCALE


class OutlineError(PhotonestError):
    """No usable outline."""

    exit_code = ExitCode.OUTLINE


class PithError(PhotonestError):
    """The pith finder asked for did not answer."""

    exit_code = ExitCode.PITH


class CrackError(PhotonestError):
    """The crack finder asked for did not answer."""

    exit_code = ExitCode.CRACKS


class PluginError(PhotonestError):
    """A finder does not load, breaks the contract of its stage, or does not exist."""

    exit_code = ExitCode.PLUGIN


class DocumentError(PhotonestError):
    """A face or plan file is not what it should be."""

    exit_code = ExitCode.DOCUMENT


class StockError(PhotonestError):
    """The piece of wood as described can't be planned."""

    exit_code = ExitCode.STOCK


class ShopError(PhotonestError):
    """A figure of the workshop is missing or impossible."""

    exit_code = ExitCode.SHOP


class NoPlanError(PhotonestError):
    """No bowl fits."""

    exit_code = ExitCode.NO_PLAN


class UnsafePlanError(PhotonestError):
    """A plan fails the independent check, or a check before coring says stop."""

    exit_code = ExitCode.UNSAFE_PLAN


class OutputError(PhotonestError):
    """Results can't be written."""

    exit_code = ExitCode.OUTPUT


class SpeciesError(PhotonestError):
    """A species is unknown or lacks data."""

    exit_code = ExitCode.SPECIES


class MoistureError(PhotonestError):
    """A moisture, humidity, temperature or weight is impossible."""

    exit_code = ExitCode.MOISTURE


class CatalogueError(PhotonestError):
    """The catalogue can't do what was asked."""

    exit_code = ExitCode.CATALOGUE


class MarksError(PhotonestError):
    """A mark set by hand makes no sense on this face."""

    exit_code = ExitCode.MARKS
