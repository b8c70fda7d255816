"""The codes a pollination matrix is made of, and each reason as a sentence. No rules here.

Codes are positions in the tuples below, so that a matrix of 2,500 x 2,500 pairs fits in a few megabytes.
"""

from __future__ import annotations

RESULTS = (
    "compatible",
    "semi-compatible",
    "incompatible",
    "no viable pollen",
    "not in bloom together",
    "wrong crop",
    "unknown",
)
COMPATIBLE, SEMI, INCOMPATIBLE, NO_POLLEN_RESULT, NOT_TOGETHER, WRONG_CROP, UNKNOWN = range(len(RESULTS))

SENTENCES: dict[str, str] = {
    "wrong-crop": "{donor} is {a_donor_crop}; its pollen does not serve {a_female_crop}.",
    "never-cross": (
        "European plums have six chromosome sets and {donor_crop} two, so the one never serves the other."
    ),
    "alleles-untyped": (
        "Nobody has published S-alleles that let {female} and {donor} be compared; of the pairs that can be, "
        "{share} in 100 set fruit."
    ),
    "alleles-all": (
        "{female} ({female_alleles}) rejects no S-allele of {donor} ({donor_alleles}), so all of its "
        "pollen counts."
    ),
    "alleles-some": (
        "{female} ({female_alleles}) and {donor} ({donor_alleles}) share {shared}, so part of the pollen "
        "is rejected."
    ),
    "alleles-none": (
        "{female} ({female_alleles}) rejects every S-allele of {donor} ({donor_alleles}): one "
        "incompatibility group."
    ),
    "other-species": (
        "{donor} is another species, {a_donor_crop}; the two serve each other where they bloom together."
    ),
    "any-of-crop": "Pollen of any {female_crop} variety serves, its own included.",
    "any-other": (
        "Any other variety of {female_crop} serves: a seedling of its own needs different parents, not a "
        "group."
    ),
    "sexes": "{female} is female and {donor} is male.",
    "sex-unknown": "Whether {donor} bears male flowers has not been published.",
    "bears-no-fruit": "{female} is a male plant and bears no fruit.",
    "sterile-pollen": "{donor} sheds sterile pollen.",
    "triploid-donor": "{donor} is triploid, and its pollen is not viable.",
    "poor-pollen": "{donor} sheds little or poor pollen and does not count as a partner.",
    "female-donor": "{donor} is a female plant and sheds no pollen that works.",
    "no-pollen-type": "{donor} is a fig without pollen; only a caprifig gives any, carried by the fig wasp.",
    "caprifig": "{donor} is a caprifig; where the fig wasp lives it carries the pollen to {female}.",
    "race-differs": "{female} and {donor} have different numbers of chromosome sets.",
    "opposite-type": "{female} and {donor} open at opposite times: when one sheds, the other receives.",
    "same-type": (
        "{female} and {donor} shed and receive at the same times, so little pollen meets open flowers."
    ),
    "type-unknown": "When {female} and {donor} shed and receive has not been published for both.",
    "hazel-silent": (
        "{female} and {donor} share {shared}; whether {donor}'s pollen shows it has not been published."
    ),
    "self-fertile": "{female} sets fruit with its own pollen.",
    "self-partly": "{female} sets a little with its own pollen.",
    "self-sterile": "{female} cannot use its own pollen.",
    "self-unknown": "Whether {female} sets with its own pollen has not been published.",
    "sport-fertile": (
        "{donor} is the same clone as {female} (one is a sport), which sets with its own pollen."
    ),
    "sport-partly": (
        "{donor} is the same clone as {female} (one is a sport), which sets a little with its own pollen."
    ),
    "sport-sterile": (
        "{donor} is the same clone as {female} (one is a sport), and it cannot use its own pollen."
    ),
    "sport-unknown": (
        "{donor} is the same clone as {female} (one is a sport); self-fertility is not published."
    ),
    "published-compatible": "Published: {donor} pollinates {female}.",
    "published-semi": "Published: {donor} pollinates {female} in part.",
    "published-incompatible": "Published: {donor} does not pollinate {female}.",
    "published-reverse": (
        "Published the other way round: {female} does not pollinate {donor}, and both are diploid."
    ),
    "overruled-to-compatible": (
        "Published: {donor} pollinates {female}. The rule would say otherwise and is overruled."
    ),
    "overruled-to-incompatible": (
        "Published: {donor} does not pollinate {female}. The rule would say otherwise and is overruled."
    ),
    "listed-half": "Published as a partner; they share {shared}, so part of the pollen is rejected.",
    "list-against-alleles": (
        "A list names {donor}, but by published S-alleles {female} rejects all of its pollen."
    ),
    "list-against-pollen": "A list names {donor}, but its pollen is published as not viable.",
    "bloom-apart": "{female} and {donor} bloom too far apart: about {overlap} shared days.",
}
REASONS = tuple(SENTENCES)
CODE = {name: code for code, name in enumerate(REASONS)}
"""Reason name -> code."""
