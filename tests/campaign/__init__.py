"""The fault campaign: what spoils lines, kills programs and fills disks, and the ledger that tells what was lost."""
