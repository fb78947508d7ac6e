"""What a record's keys mean in the terms of CIDOC CRM, as a JSON-LD 1.1 context that is laid beside it.

The record itself is plain JSON and stays so: the context alone makes it a graph of the machine (E22 Human-Made Object),
its modifications (E11) that consist of part additions (E79) and part removals (E80), its measurements (E16), and the
assessments of its condition (E14). What has no counterpart is left out of the graph, never out of the record. UUIDs
become names below a base of our own, which leads nowhere.

Source: CIDOC CRM 7.1.3 (ISO 21127:2023), class and property declarations, from memory; JSON-LD 1.1 (W3C, 2020), 4.1.8
(scoped contexts) and 4.2.5 (nested properties).
"""

from typing import Any

CRM = "http://www.cidoc-crm.org/cidoc-crm/"
BASE = "tag:putback.invalid,2026:uuid/"


def _other(name: str) -> dict[str, str]:
    """A property that leads to another entry by its UUID."""
    return {"@id": f"crm:{name}", "@type": "@id"}


def _list(name: str, more: dict[str, Any] | None = None) -> dict[str, Any]:
    found: dict[str, Any] = {"@id": f"crm:{name}", "@container": "@set"}
    return found | {"@context": more} if more else found


_DAY = "http://www.w3.org/2001/XMLSchema#date"
_STEPS = {
    "kind": "@type",
    "fit": {"@id": "crm:E79_Part_Addition", "@context": {"part": _other("P111_added")}},
    "take out": {"@id": "crm:E80_Part_Removal", "@context": {"part": _other("P113_removed")}},
    **dict.fromkeys(
        ("lift pin", "cut trace", "add link", "drill or cut case", "change firmware", "adjust", "clean", "other"),
        "crm:E11_Modification",
    ),
    "instruction": "crm:P3_has_note",
    "done_on": {"@id": "dcterms:date", "@type": _DAY},
    "done_by": "crm:P14_carried_out_by",
}
_MODS = {
    "title": "rdfs:label",
    "purpose": "crm:P3_has_note",
    "symptom": _other("P17_was_motivated_by"),
    "design": _other("P33_used_specific_technique"),
    "steps": _list("P9_consists_of", _STEPS),
}
_PARTS = {
    "type": "crm:P2_has_type",
    "marking": "crm:P65_shows_visual_item",
    "date_code": "crm:P128_carries",
    "condition": "crm:P44_has_condition",
    "note": "crm:P3_has_note",
}
_TRIALS = {
    "procedure": _other("P33_used_specific_technique"),
    "day": {"@id": "dcterms:date", "@type": _DAY},
    "readings": {"@id": "crm:P40_observed_dimension", "@container": "@list"},
    "signer": "crm:P14_carried_out_by",
    "note": "crm:P3_has_note",
}
_SYMPTOMS = {
    "title": "rdfs:label",
    "seen_on": {"@id": "dcterms:date", "@type": _DAY},
    "note": "crm:P3_has_note",
    "ended_as": "crm:P35_has_identified",
}
# There a machine's tag says where the number is from.
_KEPT = {"caption": "rdfs:label", "sha256": "dcterms:identifier", "machine": None}
CONTEXT: dict[str, Any] = {
    "@context": {
        "@version": 1.1,
        "@base": BASE,
        "crm": CRM,
        "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
        "dcterms": "http://purl.org/dc/terms/",
        "uuid": "@id",
        "created_at": {"@id": "dcterms:created", "@type": "http://www.w3.org/2001/XMLSchema#dateTime"},
        "created_by": "dcterms:creator",
        "machine": {
            "@id": "@nest",
            "@context": {
                "tag": "crm:P48_has_preferred_identifier",
                "serial_number": "crm:P1_is_identified_by",
                "maker": "dcterms:publisher",
                "model": "rdfs:label",
                "provenance": "dcterms:provenance",
                "as_found": "crm:P44_has_condition",
                "keeper": "crm:P50_has_current_keeper",
            },
        },
        "boards": _list("P46_is_composed_of", {"name": "rdfs:label", "parent": _other("P46i_forms_part_of")}),
        "parts": _list("P46_is_composed_of", _PARTS),
        "mods": _list("P31i_was_modified_by", _MODS),
        "trials": _list("P39i_was_measured_by", _TRIALS),
        "symptoms": _list("P34i_was_assessed_by", _SYMPTOMS),
        "photographs": _list("P138i_has_representation", _KEPT),
        "files": _list("P129i_is_subject_of", _KEPT),
    }
}
