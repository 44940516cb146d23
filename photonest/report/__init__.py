"""What a person sees: pictures of the face, the plan and the drying, the set-up sheet, templates."""

from photonest.report.drying_picture import drying_picture
from photonest.report.face_picture import face_picture
from photonest.report.plan_picture import plan_picture
from photonest.report.setup_sheet import setup_sheet
from photonest.report.templates import templates

__all__ = ["drying_picture", "face_picture", "plan_picture", "setup_sheet", "templates"]
