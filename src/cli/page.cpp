// Serves the page that measures on a phone, from this machine, and says where it is.
#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <qrencode.h>

#include <iostream>
#include <memory>
#include <vector>

#include "command.hpp"
#include "page_server.hpp"
#include "ripplegauge/core/errors.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(The page measures on the phone that opens it; no photo leaves it. This only hands out the page's files.
From a plain http address a phone can measure and keep readings; to work without a network and to use
the live camera it needs https, which any web host of plain files gives.

Examples:
  ripplegauge page
  ripplegauge page --lan
  ripplegauge page --folder /srv/ripplegauge --port 9000)";

struct PageArguments {
  std::string folder;
  PageServerOptions server;
};

/// Beside the data that came with the program, else where it is built in the source tree.
std::filesystem::path built_page() {
  std::error_code error;
  const std::filesystem::path installed = data_dir() / "page";
  return std::filesystem::is_directory(installed, error) ? installed
                                                         : data_dir().parent_path() / "build-page" / "site";
}

/// This machine's addresses that others can reach, IPv4.
std::vector<std::string> lan_addresses() {
  std::vector<std::string> addresses;
  ifaddrs* all = nullptr;
  if (::getifaddrs(&all) != 0) return addresses;
  const std::unique_ptr<ifaddrs, decltype(&::freeifaddrs)> owner(all, &::freeifaddrs);
  for (const ifaddrs* one = all; one != nullptr; one = one->ifa_next) {
    if (one->ifa_addr == nullptr || one->ifa_addr->sa_family != AF_INET) continue;
    if ((one->ifa_flags & IFF_LOOPBACK) != 0 || (one->ifa_flags & IFF_UP) == 0) continue;
    char text[INET_ADDRSTRLEN];
    const auto* const address = reinterpret_cast<const sockaddr_in*>(one->ifa_addr);
    if (::inet_ntop(AF_INET, &address->sin_addr, text, sizeof text) != nullptr) addresses.emplace_back(text);
  }
  return addresses;
}

/// Two rows of modules a line, light on dark as most terminals are: a reader wants a light rim of four
/// modules.
std::string qr_code(const std::string& text) {
  const std::unique_ptr<QRcode, decltype(&::QRcode_free)> code(
      ::QRcode_encodeString(text.c_str(), 0, QR_ECLEVEL_L, QR_MODE_8, 1), &::QRcode_free);
  if (!code) return {};
  constexpr int rim = 4;
  const int width = code->width;
  const auto light = [&](int row, int column) {
    if (row < 0 || column < 0 || row >= width || column >= width) return true;
    return (code->data[row * width + column] & 1) == 0;
  };
  std::string out;
  for (int row = -rim; row < width + rim; row += 2) {
    out += "  ";
    for (int column = -rim; column < width + rim; ++column) {
      const bool upper = light(row, column), lower = light(row + 1, column);
      out += upper ? (lower ? "█" : "▀") : (lower ? "▄" : " ");
    }
    out += "\n";
  }
  return out;
}

void say_where(const PageArguments& a, int port) {
  const std::string tail = ":" + std::to_string(port) + "/";
  std::cout << "The page is at http://localhost" << tail << " on this machine.\n";
  if (a.server.lan) {
    const std::vector<std::string> addresses = lan_addresses();
    for (const std::string& address : addresses)
      std::cout << "Phones in the same network: http://" << address << tail << "\n"
                << qr_code("http://" + address + tail);
    if (addresses.empty()) std::cout << "This machine is in no network that a phone could reach it by.\n";
  } else {
    std::cout << "For phones in the same network: --lan\n";
  }
  std::cout << "Ctrl-C ends it.\n" << std::flush;
}

int run_page(const PageArguments& a) {
  const Site site = read_site(a.folder.empty() ? built_page() : std::filesystem::path(a.folder));
  serve_page(site, a.server, [&](int port) { say_where(a, port); });
  return exit_ok;
}

}  // namespace

void add_page_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<PageArguments>();
  auto* command = app.add_subcommand("page", "Serve the page that measures on a phone");
  command->add_option("--folder", a->folder, "The built page; else where it was installed or built")
      ->type_name("FOLDER");
  command->add_option("--port", a->server.port, "Port; 0: any that is free")
      ->check(CLI::Range(0, 65535))
      ->type_name("N")
      ->capture_default_str();
  command->add_flag("--lan", a->server.lan, "For phones in the same network, too, with a code to scan");
  command->footer(examples);
  command->callback([a, &chosen] { chosen = [a] { return run_page(*a); }; });
}

}  // namespace ripplegauge::cli
