"""What the page Help says beside the words of the trade: serving, booths, files, batches."""

from __future__ import annotations

GUIDES = {
    "Serving and sheets": """
- The serving plan has every order equally often, Williams designs for several samples, and
  three-digit codes, all from one seed that is kept with it. It is in the journal before anybody
  tastes.
- A plan may have several sittings with breaks, a warm-up sample that is not scored, and
  incomplete blocks where there are too many samples for one sitting.
- Before anything is handed out the allergens of each sample are declared. Each ballot shows those
  of its own samples and can be left out.
- Sheets, each a PDF: preparation, labels, paper ballots in four languages, booth cards, the key.
- What was served otherwise than planned and who did not come stand in the report.
""",
    "Booths": """
- An assessor opens a link, reads the cautions, consents once and answers one ballot at a time.
- Answers are kept as they are given. A ballot that was sent cannot be changed, and nothing of the
  key reaches a booth.
- The leader sees who has sent how many, and no answer, until the ballots are closed.
- Of a person only 'not today', 'not this sample', a minor's consent form and that somebody felt
  unwell are kept: no reason, no symptom.
""",
    "Safety": """
- No question is agreed without the name of who cleared the samples. A batch under complaint or
  suspicion is not tasted until food safety has cleared it; under a suspicion of a chemical taint
  or foreign matter it is smelled at most, where food safety allows it by name.
- Alcohol, caffeine and special ingredients are told before consent. Minors are served only with
  a guardian's consent on file.
- One click reports that somebody feels unwell: nothing more is served until the leader has taken
  it up.
- The finding is advice. Food law, licensed practice and the authorised person come first.
""",
    "Files of ballots": """
CSV (comma, semicolon or tab) or XLSX, decimal comma or point. A file as it comes is looked
through at *New session*: heading row, roles of the columns and spellings can be corrected there.
A template for each test is on *Ballots*. The columns that need no correction:

| test | columns |
|---|---|
| forced choices | `assessor`, `order`, `code_1`, `code_2` ... (or `codes`), `answer` |
| A - not A, sureness | `assessor`, `sample`, `answer` |
| same-different | `assessor`, `pair`, `answer` |
| ranking | `assessor`, `sample`, `rank` |
| difference from control | `assessor`, `sample`, `replicate`, `score` |
| profile | `assessor`, `sample`, `replicate` and one column an attribute |

`session`, `guess` and `comment` may be there too. In an order, A is the reference and B the sample
compared with it, first served first; a labelled reference stands in front (duo-trio `AAB`). Whether
an answer is correct is worked out from order and answer. A missing answer is left out and
reported, never counted as wrong; a guess is an answer.
""",
    "Batches": """
- *Products*: the release rule (test, limit, risks, assessors, what is done at each finding), the
  reference, the plant's causes and names of raw materials.
- A new reference takes over through closed sessions that showed similarity to the one before and
  to the first; otherwise the role that the rule names decides, with a reason that stays visible.
- *Batches* say what each open batch waits for. Food safety clears it, its allergens are declared,
  the tasting of the rule is opened, and its finding becomes a recommendation with reasons.
- The named role decides, with a reason, and a second person where the rule asks for one. A release
  is refused while clearance, declaration, reference or panel stand against it.
- A complaint opens a batch again everywhere; it has an owner, a cause and a closing.
- *Trend* shows batch against reference over time, and the month on two pages for management.
""",
    "Who may sign": """
- Agreements, clearances, decisions and complaints carry the name, the role and how the person was
  recognised. On one machine names are typed, not proven; in a network each signs in as themselves
  (`sensory network`).
- On *Panel* a manager says who may agree, clear, decide or manage people. Anybody else is refused.
""",
}
"""Markdown by heading, in the order of the page."""
