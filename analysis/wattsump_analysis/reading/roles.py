"""Finds columns of a session without a role, and channels of a profile without a column."""

from collections.abc import Collection, Iterator

from wattsump_logger.foreign.columns import guess
from wattsump_logger.machine.profile import OIL_ROLES, SEVERAL, Profile, Role, column_of
from wattsump_logger.remark import Remark
from wattsump_logger.session.rows import FIRST_COLUMNS

__all__ = ("roles_amiss",)

MOST_NAMED = 12  # columns without a role; a protocol's session has 16 channels at most

# The heat of the oil rests on these; another that is missing needs no action.
_WANTED = OIL_ROLES | {Role.AMBIENT, Role.FAN, Role.ENGINE, Role.DRIVE, Role.FLOW, Role.HEATER}


def roles_amiss(columns: Collection[str], profile: Profile | None) -> Iterator[Remark]:
    """Yield a remark on each column that is not used, and one on the channels that are missing.

    Parameters
    ----------
    columns : collection of str
        The session's columns.
    profile : Profile or None
        The machine; its channels may have any names.
    """
    playing = {column_of(role, columns, profile) for role in Role if role not in SEVERAL}
    channels = {} if profile is None else profile.channels
    declared = {channel.column for channel in channels.values()}
    idle = 0
    for column in columns:
        if column in FIRST_COLUMNS or column in playing or column in declared:
            continue
        if _is_shared_role(column):
            continue
        idle += 1
        if idle > MOST_NAMED:
            continue
        text = f"{column} plays no role and was not used{_advice(column, columns, profile)}"
        yield Remark(code="column-without-role", text=text)
    if idle > MOST_NAMED:
        text = f"{idle - MOST_NAMED} more columns play no role and were not used"
        yield Remark(code="columns-without-role", text=text)
    lacking = [
        channel.column + f" ({channel.role.value})" * (channel.name != channel.role.value)
        for channel in channels.values()
        if channel.role in _WANTED and column_of(channel.role, columns, profile) is None
    ]
    if lacking:
        text = f"the profile lists channels that the session lacks: {', '.join(lacking)}"
        yield Remark(code="channel-without-column", text=text)


def _is_shared_role(column: str) -> bool:
    return column.rpartition("_")[0] in {role.value for role in SEVERAL}


def _advice(column: str, columns: Collection[str], profile: Profile | None) -> str:
    """Return advice on a role for the column, by its name and if no other column has it."""
    roles = guess(column.rpartition("_")[0].replace("_", " ")).roles
    free = [role.value for role in roles if column_of(role, columns, profile) is None]
    if free:
        return f": is it {' or '.join(free)}? Then say so with role in [channels] of the profile"
    if roles:
        return f": the role {roles[0].value} is played by {column_of(roles[0], columns, profile)}"
    return ""
