"""What a person sees: pictures of the face and the plan, the set-up sheet, templates."""

from photonest.report.face_picture import face_picture
from photonest.report.plan_picture import plan_picture
from photonest.report.setup_sheet import setup_sheet
from photonest.report.templates import templates

__all__ = ["face_picture", "plan_picture", "setup_sheet", "templates"]
