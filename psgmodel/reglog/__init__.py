"""reglog: what software wrote to the unit. Text or arrays in; a checked `RegisterLog` out."""

from psgmodel.reglog.checks import check_log
from psgmodel.reglog.files import format_log, load_log, parse_log, save_log
from psgmodel.reglog.log import RegisterLog, make_log

__all__ = ["RegisterLog", "check_log", "format_log", "load_log", "make_log", "parse_log", "save_log"]
