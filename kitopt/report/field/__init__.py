"""What panels should give, and why a reading is low: text of at most 72 columns, and JSON."""

from kitopt.report.field.learned import learned_text, learned_value
from kitopt.report.field.measured import item_text, item_value, label_text, label_value
from kitopt.report.field.now import does_text, now_text, now_value
from kitopt.report.field.reading import reading_text, reading_value
from kitopt.report.field.review import review_text, review_value
from kitopt.report.field.sun import sun_text, sun_value
from kitopt.report.field.two_minutes import test_text, test_value

__all__ = [
    "does_text",
    "item_text",
    "item_value",
    "label_text",
    "label_value",
    "learned_text",
    "learned_value",
    "now_text",
    "now_value",
    "reading_text",
    "reading_value",
    "review_text",
    "review_value",
    "sun_text",
    "sun_value",
    "test_text",
    "test_value",
]
