"""A frozen result becomes documents: what is said first, then PDF and page of it.

`contents` puts a report together; `render_pdf` and `render_html` set it.
"""

from backprobe.report.blocks import Report
from backprobe.report.content import contents
from backprobe.report.html import render_html
from backprobe.report.input import Paper, ReportInput
from backprobe.report.pdf import render_pdf

__all__ = ["Paper", "Report", "ReportInput", "contents", "render_html", "render_pdf"]
