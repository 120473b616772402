// The page's files over http: read once, kept in memory, and nothing else is ever served.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <string>

namespace ripplegauge::cli {

struct SiteFile {
  std::string bytes, type;
};

/// By their addresses: "/core.js". "/" is index.html.
using Site = std::map<std::string, SiteFile>;

/// All files of the folder of a kind that a page is made of. Throws FileError where it is none.
Site read_site(const std::filesystem::path& folder);

struct PageServerOptions {
  bool lan = false;  ///< for other machines, too; else for this one alone
  int port = 8017;   ///< 0: any that is free
};

/// Serves until the process ends; `started` hears the port before the first request. Throws FileError where
/// the port is taken.
void serve_page(const Site& site, const PageServerOptions& options,
                const std::function<void(int port)>& started);

}  // namespace ripplegauge::cli
