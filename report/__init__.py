"""A job on paper: the before/after document and the digests that it carries.

Importing this package loads no drawing and no typesetting library; they are loaded when a report is made.
"""

from report._beside import make_files, write_clips, write_csv, write_html
from report._bundle import check_bundle, check_bundle_target, write_bundle
from report._composed import ComposedReport
from report._errors import ReportError
from report._left_out import LeftOut
from report._letterhead import Letterhead
from report._limits import ResultLimit
from report._make import DEFAULT_NAME, compose_report, make_report
from report._paper import PAPER_SIZES, PLAIN_PAPER, UNITS, Paper
from report._revision import ISSUED, Issue, read_issued
from report._seal import ATTACHMENT, ReportDigests, numbers_json, read_report_digests
from report._shop_file import shop_file_place, shop_paper
from report._signature import Signer, check_key_place, grouped, make_key, public_path, read_signer
from report._verification import (
    CheckedLine,
    Problem,
    Verification,
    missing_words,
    printable,
    sound_line,
    verification_json,
    verification_lines,
)
from report._verify import check_report, verify_report

__all__ = [
    "ATTACHMENT",
    "DEFAULT_NAME",
    "ISSUED",
    "PAPER_SIZES",
    "PLAIN_PAPER",
    "UNITS",
    "CheckedLine",
    "ComposedReport",
    "Issue",
    "LeftOut",
    "Letterhead",
    "Paper",
    "Problem",
    "ReportDigests",
    "ReportError",
    "ResultLimit",
    "Signer",
    "Verification",
    "check_bundle",
    "check_bundle_target",
    "check_key_place",
    "check_report",
    "compose_report",
    "grouped",
    "make_files",
    "make_key",
    "make_report",
    "missing_words",
    "numbers_json",
    "printable",
    "public_path",
    "read_issued",
    "read_report_digests",
    "read_signer",
    "shop_file_place",
    "shop_paper",
    "sound_line",
    "verification_json",
    "verification_lines",
    "verify_report",
    "write_bundle",
    "write_clips",
    "write_csv",
    "write_html",
]
