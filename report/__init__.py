"""A job on paper: the before/after document and the digests that it carries.

Importing this package loads no drawing and no typesetting library; they are loaded when a report is made.
"""

from report._digests import ReportDigests, read_report_digests, verify_report
from report._errors import ReportError
from report._make import make_report

__all__ = ["ReportDigests", "ReportError", "make_report", "read_report_digests", "verify_report"]
