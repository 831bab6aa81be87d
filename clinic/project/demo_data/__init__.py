"""The demo clinic: invented people, drawn pictures, and two years of work through the functions of real use."""

from clinic.project.demo_data.building import Login, build

__all__ = ["Login", "build"]
