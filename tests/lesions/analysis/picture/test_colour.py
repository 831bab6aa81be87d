"""CIEDE2000 and CIELAB against published numbers."""

import numpy as np
import pytest

from lesions.analysis.picture.colour import delta_e_2000, to_lab

# Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula", Color Research and Application 30 (2005), table 1:
# L1 a1 b1 L2 a2 b2 dE00
PAIRS = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
TABLE = np.array([[float(v) for v in row.split()] for row in PAIRS.strip().splitlines()])


def test_ciede2000_agrees_with_all_34_published_pairs():
    assert len(TABLE) == 34
    assert np.abs(delta_e_2000(TABLE[:, :3], TABLE[:, 3:6]) - TABLE[:, 6]).max() < 5e-5


def test_ciede2000_is_symmetric():
    forth, back = delta_e_2000(TABLE[:, :3], TABLE[:, 3:6]), delta_e_2000(TABLE[:, 3:6], TABLE[:, :3])
    assert np.allclose(forth, back, atol=1e-9)


# sRGB primaries and mid grey under D65, computed from IEC 61966-2-1; widely tabulated.
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 255, 255), (100.0, 0.0, 0.0)),
        ((0, 0, 0), (0.0, 0.0, 0.0)),
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.73, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((119, 119, 119), (50.03, 0.0, 0.0)),
    ],
)
def test_srgb_goes_to_cielab(rgb, lab):
    assert to_lab(np.array([rgb], dtype=np.uint8))[0] == pytest.approx(lab, abs=0.02)


# ColorChecker Classic, sRGB by BabelColor (D. Pascale, "RGB coordinates of the ColorChecker", 2006) and the L*a*b*
# that X-Rite publishes for charts before November 2014, under D50. Both from memory. They are rounded and of
# different charts, so a chart colour agrees within a few units, not within decimals.
CHART = """
dark_skin 115 82 68 37.986 13.555 14.059
light_skin 194 150 130 65.711 18.130 17.810
blue_sky 98 122 157 49.927 -4.880 -21.925
foliage 87 108 67 43.139 -13.095 21.905
orange 214 126 44 62.661 36.067 57.096
moderate_red 193 90 99 51.124 48.239 16.248
yellow 231 199 31 81.733 4.039 79.819
green 70 148 73 55.261 -38.342 31.370
red 175 54 60 42.101 53.378 28.190
magenta 187 86 149 51.935 49.986 -14.574
white 243 243 242 96.539 -0.425 1.186
neutral_5 122 122 121 50.867 -0.153 -0.270
black 52 52 52 20.461 -0.079 -0.973
"""


def under_d50(lab):
    """The same colour under D50: Bradford matrix (B. Lindbloom, chromatic adaptation; from memory)."""
    bradford = np.array([[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]])
    fy = (lab[0] + 16) / 116
    f = np.array([fy + lab[1] / 500, fy, fy - lab[2] / 200])
    xyz = np.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2) * (0.95047, 1, 1.08883)
    t = bradford @ xyz / (0.96422, 1, 0.82521)
    g = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * g[1] - 16, 500 * (g[0] - g[1]), 200 * (g[1] - g[2])])


@pytest.mark.parametrize("line", CHART.strip().splitlines())
def test_colours_of_a_chart_come_near_their_published_lab(line):
    numbers = np.array([float(v) for v in line.split()[1:]])
    found = under_d50(to_lab(numbers[None, :3].astype(np.uint8))[0].astype(float))
    assert delta_e_2000(found[None], numbers[None, 3:])[0] < 3
