"""Pictures for pages and printed reports: self-contained SVG, told in words as well."""

from backprobe.services.pictures.circuit_picture import circuit_picture
from backprobe.services.pictures.comparison_picture import comparison_picture
from backprobe.services.pictures.connector_face import connector_face

__all__ = ["circuit_picture", "comparison_picture", "connector_face"]
