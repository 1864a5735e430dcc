"""Where the numbers come from: short keys and the full references they stand for.

A value's source is one of these keys, or one of three open confessions: ``common practice, no source``,
``estimate, no source`` and ``from memory: WORK``. Several are joined by "; ".
"""

from __future__ import annotations

COMMON_PRACTICE = "common practice, no source"
ESTIMATE = "estimate, no source"
FROM_MEMORY = "from memory: "
GEOMETRY = "geometry"
STATED = "stated by the user"

_ALLOWED = f'a key of advisor/sources.py, "{COMMON_PRACTICE}", "{ESTIMATE}" or "{FROM_MEMORY}WORK"'

REFERENCES: dict[str, str] = {
    GEOMETRY: "derived from the geometry stated beside it",
    "nominal": "nominal size, as named by the trade",
    "machinerys-handbook-31": "Machinery's Handbook, 31st edition, p. 1147, table 1b: power constants, wrought steels",
    "carvill": "J. Carvill, Mechanical Engineer's Data Handbook, pp. 192 and 194",
    "ghosh-mallik": "A. Ghosh, A. K. Mallik, Manufacturing Science, chapter 4, worked problems",
    "altintas-2012": "Y. Altintas, Manufacturing Automation, 2nd edition, 2012, p. 162: modal data of a two-flute mill",
    "insperger-2003": "Insperger, Mann, Stepan, Bayly 2003 and Insperger, Stepan 2004: single-mode milling benchmark",
    "cjme-2021": "Chinese Journal of Mechanical Engineering 2021, Milling Force Model for Aviation Aluminum Alloy, "
    "table 5, doi 10.1186/s10033-021-00536-9",
    "kops-vo-1990": "L. Kops, D. T. Vo, CIRP Annals 1990: equivalent diameter of an end mill",
    "wojciechowski-2022": "S. Wojciechowski, Materials 15(1):59, 2022: review of minimum uncut chip thickness",
    "palubicki-2021": "B. Palubicki, Materials 14:2208, 2021: cutting forces in up-milling of particleboard",
    "bamboo-2025": "Coatings 15(10):1148, 2025: power in milling of bamboo",
    "iskra-2012": "P. Iskra, R. E. Hernandez, 2012: cutting forces in routing of sugar maple",
    "shop-handout": "Machine tool speeds and feeds, unattributed shop handout (high speed steel, sfpm); a weak source",
    "birch-board-sheet": "data sheet of a birch plywood, a producer's tolerance table, in agreement with EN 315:2000",
    "en-315": "EN 315:2000, Plywood: tolerances for dimensions",
    "osu-wood": "Oregon State University table of wood species, from the Wood Handbook",
    "wood-handbook-ext": "Wood Handbook values as quoted by a university extension specialist",
    "trimming-2012": "trimming of carbon fibre laminate, Journal of Composite Materials 2012",
    "ti-insert-2020": "tool life of inserts in Ti-6Al-4V, Heliyon 2020",
    "koleda-2019": "P. Koleda et al., BioResources 14(4):9271, 2019: wear of planing knives in oak",
    "osha-wood-dust": "OSHA wood dust exposure table; 29 CFR 1910.1000 table Z-1",
    "osha-composites": "OSHA technical page on composites",
    "osha-dust-programme": "OSHA combustible dust national emphasis programme",
    "osha-sampling-wood": "OSHA sampling page for wood dust (ACGIH classification)",
    "eu-carcinogens": "Directive (EU) 2017/2398 on carcinogens at work",
    "student-mill": "study of a student-built small mill, university page",
    "altintas-budak-1995": "Y. Altintas, E. Budak, CIRP Annals 44/1, 1995: analytical prediction of stability lobes",
    "furniture-plywood": "a furniture-making text quoting the Forest Products Research Laboratory on plywood movement",
    "jones-boring": "F. D. Jones, Turning and Boring",
    "iso-3002": "ISO 3002-1, -3 and -4: basic quantities in cutting and grinding",
}


class SourceError(ValueError):
    """A source that tells nothing."""


def parts(source: str) -> tuple[str, ...]:
    """The single sources in a joined source text.

    Raises ``SourceError``, with the remedy, for an empty or placeholder source and for an unknown key.
    """
    found = tuple(part.strip() for part in source.split(";"))
    for part in found:
        if not part or part.lower() in {"todo", "tbd", "?", "-", "none", "n/a", "unknown", "internet", "web", "source"}:
            raise SourceError(f'"{part}" is a placeholder, not a source; name {_ALLOWED}')
        if part in (COMMON_PRACTICE, ESTIMATE, STATED) or part in REFERENCES:
            continue
        if part.startswith(FROM_MEMORY):
            if len(part) < len(FROM_MEMORY) + 4:
                raise SourceError(f'"{part}" names no work; write for example "{FROM_MEMORY}Wood Handbook ch. 4"')
            continue
        raise SourceError(
            f'"{part}" is not a known source; give its full reference in advisor/sources.py, or name {_ALLOWED}'
        )
    return found


def tag(source: str) -> str:
    """How well a value is known, by its weakest part: published, memory, practice or estimate; or stated by a user."""
    if source == STATED:
        return "stated"
    order = ("published", "memory", "practice", "estimate")
    ranks = [0]
    for part in parts(source):
        if part == ESTIMATE:
            ranks.append(3)
        elif part == COMMON_PRACTICE:
            ranks.append(2)
        elif part.startswith(FROM_MEMORY):
            ranks.append(1)
    return order[max(ranks)]


def reference(source: str) -> str:
    """The full reference of a source text, for print."""
    return "; ".join(REFERENCES.get(part, part) for part in parts(source))
