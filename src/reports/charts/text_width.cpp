#include "reports/charts/text_width.hpp"

#include <algorithm>
#include <array>
#include <cstdint>

namespace shaftlog {
namespace {

// Advance widths of DejaVu Sans 2.37 (Debian's fonts-dejavu-core), table "hmtx", in 1/2048 of the size, for U+0020 to
// U+017F; 0 where the font has none. A test holds them to what cairo draws.
constexpr std::uint32_t kFirst = 0x20, kEnd = 0x180;
constexpr std::array<std::uint16_t, kEnd - kFirst> kBook{
    651,  821,  942,  1716, 1303, 1946, 1597, 563,  799,  799,  1024, 1716, 651,  739,  651,  690,  1303, 1303, 1303,
    1303, 1303, 1303, 1303, 1303, 1303, 1303, 690,  690,  1716, 1716, 1716, 1087, 2048, 1401, 1405, 1430, 1577, 1294,
    1178, 1587, 1540, 604,  604,  1343, 1141, 1767, 1532, 1612, 1235, 1612, 1423, 1300, 1251, 1499, 1401, 2025, 1403,
    1251, 1403, 799,  690,  799,  1716, 1024, 1024, 1255, 1300, 1126, 1300, 1260, 721,  1300, 1298, 569,  569,  1186,
    569,  1995, 1298, 1253, 1300, 1300, 842,  1067, 803,  1298, 1212, 1675, 1212, 1212, 1075, 1303, 690,  1303, 1716,
    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,
    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    651,  821,  1303, 1303, 1303,
    1303, 690,  1024, 1024, 2048, 965,  1253, 1716, 739,  2048, 1024, 1024, 1716, 821,  821,  1024, 1303, 1303, 651,
    1024, 821,  965,  1253, 1985, 1985, 1985, 1087, 1401, 1401, 1401, 1401, 1401, 1401, 1995, 1430, 1294, 1294, 1294,
    1294, 604,  604,  604,  604,  1587, 1532, 1612, 1612, 1612, 1612, 1612, 1716, 1612, 1499, 1499, 1499, 1499, 1251,
    1239, 1290, 1255, 1255, 1255, 1255, 1255, 1255, 2011, 1126, 1260, 1260, 1260, 1260, 569,  569,  569,  569,  1253,
    1298, 1253, 1253, 1253, 1253, 1253, 1716, 1253, 1298, 1298, 1298, 1298, 1212, 1300, 1212, 1401, 1255, 1401, 1255,
    1401, 1255, 1430, 1126, 1430, 1126, 1430, 1126, 1430, 1126, 1577, 1300, 1587, 1300, 1294, 1260, 1294, 1260, 1294,
    1260, 1294, 1260, 1294, 1260, 1587, 1300, 1587, 1300, 1587, 1300, 1587, 1300, 1540, 1298, 1876, 1423, 604,  569,
    604,  569,  604,  569,  604,  569,  604,  569,  1208, 1138, 604,  569,  1343, 1186, 1186, 1141, 569,  1141, 569,
    1141, 768,  1141, 700,  1151, 582,  1532, 1298, 1532, 1298, 1532, 1298, 1666, 1532, 1298, 1612, 1253, 1612, 1253,
    1612, 1253, 2191, 2095, 1423, 842,  1423, 842,  1423, 842,  1300, 1067, 1300, 1067, 1300, 1067, 1300, 1067, 1251,
    803,  1251, 803,  1251, 803,  1499, 1298, 1499, 1298, 1499, 1298, 1499, 1298, 1499, 1298, 1499, 1298, 2025, 1675,
    1251, 1212, 1251, 1403, 1075, 1403, 1075, 1403, 1075, 721,
};
constexpr std::array<std::uint16_t, kEnd - kFirst> kBold{
    713,  934,  1067, 1716, 1425, 2052, 1786, 627,  936,  936,  1071, 1716, 778,  850,  778,  748,  1425, 1425, 1425,
    1425, 1425, 1425, 1425, 1425, 1425, 1425, 819,  819,  1716, 1716, 1716, 1188, 2048, 1585, 1561, 1503, 1700, 1399,
    1399, 1681, 1714, 762,  762,  1587, 1305, 2038, 1714, 1741, 1501, 1741, 1577, 1475, 1397, 1663, 1585, 2259, 1579,
    1483, 1485, 936,  748,  936,  1716, 1024, 1024, 1382, 1466, 1214, 1466, 1389, 891,  1466, 1458, 702,  702,  1362,
    702,  2134, 1458, 1407, 1466, 1466, 1010, 1219, 979,  1458, 1335, 1892, 1321, 1335, 1192, 1458, 748,  1458, 1716,
    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,
    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    0,    713,  934,  1425, 1425, 1303,
    1425, 748,  1024, 1024, 2048, 1155, 1323, 1716, 850,  2048, 1024, 1024, 1716, 897,  897,  1024, 1507, 1303, 778,
    1024, 897,  1155, 1323, 2120, 2120, 2120, 1188, 1585, 1585, 1585, 1585, 1585, 1585, 2222, 1503, 1399, 1399, 1399,
    1399, 762,  762,  762,  762,  1716, 1714, 1741, 1741, 1741, 1741, 1741, 1716, 1741, 1663, 1663, 1663, 1663, 1483,
    1511, 1473, 1382, 1382, 1382, 1382, 1382, 1382, 2146, 1214, 1389, 1389, 1389, 1389, 702,  702,  702,  702,  1407,
    1458, 1407, 1407, 1407, 1407, 1407, 1716, 1407, 1458, 1458, 1458, 1458, 1335, 1466, 1335, 1585, 1382, 1585, 1382,
    1585, 1382, 1503, 1214, 1503, 1214, 1503, 1214, 1503, 1214, 1700, 1466, 1716, 1466, 1399, 1389, 1399, 1389, 1399,
    1389, 1399, 1389, 1399, 1389, 1681, 1466, 1681, 1466, 1681, 1466, 1681, 1466, 1714, 1458, 1994, 1618, 762,  702,
    762,  702,  762,  702,  762,  702,  762,  702,  1524, 1404, 762,  702,  1587, 1362, 1362, 1305, 702,  1305, 702,
    1305, 982,  1305, 1140, 1315, 760,  1714, 1458, 1714, 1458, 1714, 1458, 2013, 1714, 1458, 1741, 1407, 1741, 1407,
    1741, 1407, 2390, 2241, 1577, 1010, 1577, 1010, 1577, 1010, 1475, 1219, 1475, 1219, 1475, 1219, 1475, 1219, 1397,
    979,  1397, 979,  1397, 979,  1663, 1458, 1663, 1458, 1663, 1458, 1663, 1458, 1663, 1458, 1663, 1458, 2259, 1892,
    1483, 1335, 1483, 1485, 1192, 1485, 1192, 1485, 1192, 891,
};

struct Extra {
  std::uint32_t code;
  std::uint16_t book, bold;
};
constexpr std::array kExtras{Extra{0x2013, 1024, 1024}, Extra{0x2014, 2048, 2048}, Extra{0x2018, 651, 778},
                             Extra{0x2019, 651, 778},   Extra{0x201C, 1061, 1346}, Extra{0x201D, 1061, 1346},
                             Extra{0x2022, 1208, 1309}, Extra{0x2026, 2048, 2048}, Extra{0x2190, 1716, 1716},
                             Extra{0x2191, 1716, 1716}, Extra{0x2192, 1716, 1716}, Extra{0x2193, 1716, 1716},
                             Extra{0x2212, 1716, 1716}, Extra{0x2264, 1716, 1716}, Extra{0x2265, 1716, 1716}};

constexpr double kEm = 2048;

double advance(std::uint32_t code, bool is_strong) {
  if (code >= kFirst && code < kEnd) return (is_strong ? kBold : kBook)[code - kFirst];
  for (const Extra& e : kExtras) {
    if (e.code == code) return is_strong ? e.bold : e.book;
  }
  // Other alphabets: wide enough for most; East Asian signs are square.
  return code >= 0x2E80 ? kEm : 0.72 * kEm;
}

}  // namespace

std::uint32_t next_code_point(std::string_view text, std::size_t& i) {
  const auto byte = [&](std::size_t at) { return static_cast<std::uint8_t>(text[at]); };
  const std::uint8_t first = byte(i++);
  if (first < 0x80) return first;
  const int more = first >= 0xF0 ? 3 : first >= 0xE0 ? 2 : first >= 0xC0 ? 1 : 0;
  if (more == 0 || first >= 0xF8) return 0xFFFD;  // no sign takes more than four bytes
  std::uint32_t code = first & (0x3Fu >> more);
  for (int k = 0; k < more; ++k) {
    if (i >= text.size() || (byte(i) & 0xC0u) != 0x80) return 0xFFFD;
    code = (code << 6u) | (byte(i++) & 0x3Fu);
  }
  // Longer than it need be, half of a pair, or beyond the last: no UTF-8 either (RFC 3629).
  constexpr std::array<std::uint32_t, 4> kLeast{0, 0x80, 0x800, 0x10000};
  if (code < kLeast[static_cast<std::size_t>(more)] || code > 0x10FFFF || (code >= 0xD800 && code < 0xE000)) {
    return 0xFFFD;
  }
  return code;
}

double text_width(std::string_view text, double size, bool is_strong) {
  double sum = 0;
  for (std::size_t i = 0; i < text.size();) sum += advance(next_code_point(text, i), is_strong);
  return sum * size / kEm;
}

std::vector<std::string> broken_into_lines(std::string_view text, double width, double size, bool is_strong) {
  std::vector<std::string> lines;
  std::string line;
  std::size_t at = 0;
  const auto put = [&](std::string_view word) {
    // A word wider than the line (an id, a path) is cut where the line ends.
    while (text_width(word, size, is_strong) > width) {
      std::size_t end = 0;
      next_code_point(word, end);
      for (std::size_t next = end; next < word.size(); end = next) {
        next_code_point(word, next);
        if (text_width(word.substr(0, next), size, is_strong) > width) break;
      }
      if (end >= word.size()) break;
      lines.emplace_back(word.substr(0, end));
      word.remove_prefix(end);
    }
    line = std::string{word};
  };
  while (at <= text.size()) {
    const std::size_t blank = std::min(text.find_first_of(" \n", at), text.size());
    const std::string_view word = text.substr(at, blank - at);
    if (line.empty()) {
      put(word);
    } else if (!word.empty()) {
      const std::string longer = line + ' ' + std::string{word};
      if (text_width(longer, size, is_strong) <= width) {
        line = longer;
      } else {
        lines.push_back(line);
        put(word);
      }
    }
    if (blank < text.size() && text[blank] == '\n') {
      lines.push_back(line);
      line.clear();
    }
    at = blank + 1;
  }
  if (!line.empty() || lines.empty()) lines.push_back(line);
  return lines;
}

}  // namespace shaftlog
