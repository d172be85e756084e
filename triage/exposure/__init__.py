"""How high the air goes: emission, room, judgement, inverse questions, ledger."""
