"""The page understood: sections, phrases, twins, line and doubling, figure, harmony, spelling."""

from engine.form.find import find_form

__all__ = ["find_form"]
