"""Ask for what begins with some letters so that both databases answer from an index."""

from typing import Any, Final

from django.db.models import CharField
from django.db.models.lookups import StartsWith

# A text column and a key, in an index that PostgreSQL uses for LIKE whatever the language of the database.
BY_BEGINNING: Final = ("varchar_pattern_ops", "int8_ops")
_LAST_LETTER: Final = chr(0x10FFFF)


@CharField.register_lookup
class Begins(StartsWith):
    """`part__begins="mull"`: a LIKE on PostgreSQL; on SQLite, whose LIKE with an escape uses no index, a range."""

    lookup_name = "begins"

    def get_rhs_op(self, connection: Any, rhs: str) -> str:
        operator: str = connection.operators["startswith"]
        return operator % rhs

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        column, values = self.process_lhs(compiler, connection)
        # No letter comes after this last one: the range holds just what begins so.
        bounds = [*values, self.rhs, *values, self.rhs + _LAST_LETTER]
        return f"({column} >= %s AND {column} < %s)", bounds
