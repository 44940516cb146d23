"""What flows between the stages: frozen dataclasses in mm, and their files. Imports nothing else of photonest."""

from photonest.model.documents import (
    dump_json,
    face_from_document,
    face_to_document,
    plan_from_document,
    plan_to_document,
    read_face,
    read_json,
    read_plan,
    write_document,
    write_together,
    write_whole,
)
from photonest.model.errors import (
    CatalogueError,
    CrackError,
    DocumentError,
    ExitCode,
    MarksError,
    MoistureError,
    NoPlanError,
    OutlineError,
    OutputError,
    PhotoError,
    PhotonestError,
    PithError,
    PluginError,
    ScaleError,
    ShopError,
    SpeciesError,
    StockError,
    UnsafePlanError,
)
from photonest.model.face import (
    Attempt,
    Circle,
    Crack,
    CrackKind,
    Defect,
    DefectKind,
    Diameters,
    Face,
    NotFound,
    Outline,
    PhotoFacts,
    Pith,
    SetBy,
    Size,
    Status,
)
from photonest.model.photo import FlatPhoto, Lens, MapError, OtherScale, Photo, Scale, framed
from photonest.model.plan import (
    Alternative,
    Axis,
    Bound,
    Bowl,
    Cut,
    FaceFacts,
    Nest,
    Objective,
    Plan,
    Score,
    Side,
    Stock,
    StockKind,
)
from photonest.model.shop import Cutter, Jaws, Price, Range, Shop
from photonest.model.shopfile import length_in_mm, read_shop, shop_from_toml, shop_template
from photonest.model.values import FieldError, Matrix3, Point, Point3, Points

__all__ = [
    "Alternative", "Attempt", "Axis", "Bound", "Bowl", "CatalogueError", "Circle", "Crack", "CrackError",
    "CrackKind", "Cut", "Cutter", "Defect", "DefectKind", "Diameters", "DocumentError", "ExitCode", "Face",
    "FaceFacts", "FieldError", "FlatPhoto", "Jaws", "Lens", "MapError", "MarksError", "Matrix3",
    "MoistureError", "Nest", "NoPlanError", "NotFound", "Objective", "OtherScale", "Outline", "OutlineError",
    "OutputError", "Photo", "PhotoError", "PhotoFacts", "PhotonestError", "Pith", "PithError", "Plan",
    "PluginError", "Point", "Point3", "Points", "Price", "Range", "Scale", "ScaleError", "Score", "SetBy",
    "Shop", "ShopError", "Side", "Size", "SpeciesError", "Status", "Stock", "StockError", "StockKind",
    "UnsafePlanError", "dump_json", "face_from_document", "face_to_document", "framed", "length_in_mm",
    "plan_from_document", "plan_to_document", "read_face", "read_json", "read_plan", "read_shop",
    "shop_from_toml", "shop_template", "write_document", "write_together", "write_whole",
]  # fmt: skip
