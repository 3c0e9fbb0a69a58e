"""One module a command: `register` adds its arguments, `run` calls one capability and prints."""

# What each does, in the order in which `jointwright --help` lists them. Only the module of the command that was asked
# for is imported: the solver, the drawing reader and the web framework take seconds that most commands have no use for.
COMMANDS = {
    "serve": "serve the dashboard",
    "demo": "build the invented plant Saltmarsh Point: plan, joints, five years of history, scores, plan, a route",
    "load": "take in a plot plan, a joint list, readings, history, people or tools from a file",
    "score": "give every joint its interval, due date and risk by the current policy",
    "why": "why a joint has its interval, due date and risk: every factor with its source",
    "due": "which joints fall due, earliest first, riskiest first among equals; `due record TAG RESULT`",
    "crew": "who checks, with hours, families, days off: `crew add NAME --hours H`, `crew away`, `crew calendar`",
    "outage": "planned shutdowns; `outage add NAME --from DAY --until DAY --area NAME`",
    "plan": "give the due checks weeks and crews; `plan show`, `moves`, `unplaced`, `move`, `defer`, `export FILE`",
    "route": "make crews' walks of due joints for a shift; `route show ID`, `mend`, `export`, `record ID STOP RESULT`",
    "leaks": "leaks open now, and rates by area; `leaks report TAG SEVERITY`, `leaks step ID repaired`",
    "recall": "joints that a bad tool, person, lot or procedure made up: list them, call them in, follow the recall",
    "work-pack": "joints broken, made again, leak-tested; what stands open; hand back, certificate of completion",
    "make-up": "record a make-up and get its verdict; `make-up show TAG`, `procedures`, `tools`, `expiring`, `publish`",
    "policy": "show the policy, draft another, preview what it would change, publish it",
    "check-setup": "look whether the installation is sound and the ledgers are unbroken",
}
