// A PDF as other programs see it.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <opencv2/core.hpp>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "catch.hpp"
#include "scratch_folder.hpp"

constexpr int dpi = 300;
constexpr double px_per_mm = dpi / 25.4;

inline bool poppler_is_missing() {
  if (std::system(
          "pdfinfo -v >/dev/null 2>&1 && pdftoppm -v >/dev/null 2>&1 && pdftotext -v >/dev/null 2>&1") == 0)
    return false;
  WARN("skipped: pdfinfo, pdftoppm and pdftotext (poppler-utils) are not installed");
  return true;
}

/// A PDF on disk, and what other programs say of it.
class PdfFile {
 public:
  explicit PdfFile(const std::string& bytes) : path_(folder_.write("sheet.pdf", bytes).string()) {}

  /// Width and height in points, a pair for each page.
  std::vector<std::pair<double, double>> page_sizes_pt() const {
    std::vector<std::pair<double, double>> sizes;
    std::istringstream lines(output_of("pdfinfo -f 1 -l 9 " + path_));
    for (std::string line; std::getline(lines, line);) {
      double width = 0, height = 0;
      int page = 0;
      if (std::sscanf(line.c_str(), "Page %d size: %lf x %lf pts", &page, &width, &height) == 3)
        sizes.emplace_back(width, height);
    }
    return sizes;
  }

  std::string text() const { return output_of("pdftotext -layout " + path_ + " -"); }

  /// The least height of a line of text, less what DejaVu's line has above and below the font's size (1.164
  /// of it, by the font's own ascent and descent).
  double smallest_font_pt() const {
    std::istringstream lines(output_of("pdftotext -bbox " + path_ + " -"));
    double smallest = 1e9;
    for (std::string line; std::getline(lines, line);) {
      double x0 = 0, y0 = 0, x1 = 0, y1 = 0;
      if (std::sscanf(line.c_str(), " <word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\"", &x0, &y0,
                      &x1, &y1) == 4)
        smallest = std::min(smallest, (y1 - y0) / 1.164);
    }
    return smallest;
  }

  struct Box {
    double x0_pt, y0_pt, x1_pt, y1_pt;
  };
  /// Words of which a part lies outside of the box.
  std::string words_outside(const Box& box) const {
    std::istringstream lines(output_of("pdftotext -bbox " + path_ + " -"));
    std::string outside;
    int words = 0;
    for (std::string line; std::getline(lines, line);) {
      double x0 = 0, y0 = 0, x1 = 0, y1 = 0;
      char word[200] = "";
      if (std::sscanf(line.c_str(), " <word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\">%199[^<]",
                      &x0, &y0, &x1, &y1, word) != 5)
        continue;
      ++words;
      if (x0 < box.x0_pt || y0 < box.y0_pt || x1 > box.x1_pt || y1 > box.y1_pt)
        outside += std::string(word) + " ";
    }
    REQUIRE(words > 20);
    return outside;
  }

  /// The page as an 8-bit grey picture.
  cv::Mat raster(int page = 1) const {
    const std::string bytes = output_of("pdftoppm -gray -f " + std::to_string(page) + " -l " +
                                        std::to_string(page) + " -r " + std::to_string(dpi) + " " + path_);
    int width = 0, height = 0, header = 0;
    REQUIRE(std::sscanf(bytes.c_str(), "P5 %d %d 255%n", &width, &height, &header) == 2);
    const auto pixels = static_cast<std::size_t>(width) * static_cast<std::size_t>(height);
    REQUIRE(bytes.size() == static_cast<std::size_t>(header) + 1 + pixels);
    cv::Mat grey(height, width, CV_8UC1);
    std::copy(bytes.end() - static_cast<std::ptrdiff_t>(pixels), bytes.end(), grey.data);
    return grey;
  }

 private:
  static std::string output_of(const std::string& command) {
    std::FILE* pipe = ::popen(command.c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::string output;
    char block[65536];
    while (const std::size_t count = std::fread(block, 1, sizeof block, pipe)) output.append(block, count);
    REQUIRE(::pclose(pipe) == 0);
    return output;
  }

  ScratchFolder folder_;
  std::string path_;
};
