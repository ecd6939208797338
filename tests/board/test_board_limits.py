"""The limits of a new board's file, reckoned by hand from the numbers in it."""

from midspan.board.board_limits import limits_of_new_board


def test_the_limits_of_a_new_board():
    found = limits_of_new_board()
    # 400 microsteps to a millimetre, 70 mm, 30 mm/s, 500 mm/s2; a roller's turn of 3200 at 75 a minute, 450 a minute
    # and second; 80 conversions a second; 2400 readings.
    assert (found.press_limit_steps, found.press_speed_most, found.press_acceleration) == (28_000, 12_000, 200_000)
    assert (found.rotate_speed_most, found.rotate_acceleration) == (4_000, 24_000)
    assert (found.interval_us, found.readings_most, found.count_limit) == (12_500, 2_400, 1_700_000)
    # v * 60 ms + v^2 / 2a, times 11,000,000 counts a millimetre, above 1,700,000: at 15 mm/s 14.1 of the 15 million
    # counts that the cell bears, at 16 mm/s 15.1.
    assert found.down_speed_most == 15 * 400
    reached = {v: 1.7e6 + 11e6 * (v * 0.060 + v**2 / 1000) for v in (15, 16)}
    assert reached[15] < 15e6 < reached[16]
