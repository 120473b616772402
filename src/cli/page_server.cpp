// The page over http, by a library; here is what it may do: two methods, known files, known names of this
// machine.
#include "page_server.hpp"

#include <httplib.h>

#include <algorithm>

#include "json/read_bytes.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge::cli {
namespace {

namespace fs = std::filesystem;

constexpr std::pair<const char*, const char*> types[] = {{".html", "text/html; charset=utf-8"},
                                                         {".js", "text/javascript; charset=utf-8"},
                                                         {".css", "text/css; charset=utf-8"},
                                                         {".wasm", "application/wasm"},
                                                         {".json", "application/json"},
                                                         {".webmanifest", "application/manifest+json"},
                                                         {".svg", "image/svg+xml"},
                                                         {".png", "image/png"},
                                                         {".jpg", "image/jpeg"},
                                                         {".pdf", "application/pdf"}};

std::string type_of(const fs::path& file) {
  const std::string extension = file.extension().string();
  for (const auto& [ending, type] : types)
    if (extension == ending) return type;
  return {};
}

/// The part of a Host header before the port; of an address in brackets with them.
std::string host_name(std::string host) {
  const std::size_t colon = host.rfind(':');
  if (colon != std::string::npos && host.find(']', colon) == std::string::npos) host.resize(colon);
  std::transform(host.begin(), host.end(), host.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return host;
}

/// A page elsewhere could have a name of its own lead to this machine and then read what is served as its
/// own: only names that cannot be pointed elsewhere are answered, on the LAN also plain addresses.
bool may_be_called(const std::string& host, bool lan) {
  if (host == "localhost" || host == "127.0.0.1" || host == "[::1]") return true;
  return lan && !host.empty() && host.find_first_not_of("0123456789.") == std::string::npos;
}

void add_headers(httplib::Response& response) {
  response.set_header("X-Content-Type-Options", "nosniff");
  response.set_header("Referrer-Policy", "no-referrer");
  response.set_header("Cross-Origin-Opener-Policy", "same-origin");
  response.set_header("Cross-Origin-Resource-Policy", "same-origin");
  response.set_header("Content-Security-Policy", "frame-ancestors 'none'");  // the rest stands in the page
  response.set_header("Cache-Control", "no-cache");
}

void refuse(httplib::Response& response, int status, const char* text) {
  response.status = status;
  add_headers(response);
  response.set_content(text, "text/plain; charset=utf-8");
}

void answer(const Site& site, bool lan, const httplib::Request& request, httplib::Response& response) {
  if (!may_be_called(host_name(request.get_header_value("Host")), lan))
    return refuse(response, 421, "This server is called by the address that it printed.\n");
  if (request.method != "GET" && request.method != "HEAD") {
    response.set_header("Allow", "GET, HEAD");
    return refuse(response, 405, "Only GET and HEAD.\n");
  }
  const auto found = site.find(request.path);
  if (found == site.end()) return refuse(response, 404, "There is no such file.\n");
  response.status = 200;
  add_headers(response);
  response.set_content(found->second.bytes, found->second.type.c_str());
}

}  // namespace

Site read_site(const fs::path& folder) {
  constexpr std::size_t largest_file = 64U << 20;
  Site site;
  std::error_code error;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(folder, error)) {
    const std::string type = type_of(entry.path());
    if (type.empty() || !entry.is_regular_file() || entry.is_symlink()) continue;
    const std::string address = "/" + entry.path().lexically_relative(folder).generic_string();
    site[address] = {read_bytes(entry.path(), largest_file), type};
  }
  if (error || !site.contains("/index.html") || !site.contains("/core.wasm"))
    throw FileError(folder.string(),
                    "is no built page; build it with `bash src/page/build.sh`, or name its folder");
  site["/"] = site["/index.html"];
  return site;
}

void serve_page(const Site& site, const PageServerOptions& options,
                const std::function<void(int port)>& started) {
  constexpr int workers = 16;  // a connection that is kept open keeps one
  constexpr std::size_t largest_body = 1024, requests_a_connection = 100;
  httplib::Server server;
  server.new_task_queue = [] { return new httplib::ThreadPool(workers); };
  server.set_payload_max_length(largest_body);
  server.set_keep_alive_max_count(requests_a_connection);
  server.set_keep_alive_timeout(1);
  server.set_read_timeout(5);
  server.set_write_timeout(20);
  server.set_pre_routing_handler([&](const httplib::Request& request, httplib::Response& response) {
    answer(site, options.lan, request, response);
    return httplib::Server::HandlerResponse::Handled;
  });
  const char* const where = options.lan ? "0.0.0.0" : "127.0.0.1";
  int port = options.port;
  if (port == 0)
    port = server.bind_to_any_port(where);
  else if (!server.bind_to_port(where, port))
    port = -1;
  if (port < 0)
    throw FileError("port " + std::to_string(options.port),
                    "cannot be opened; another program may have it: give another --port");
  started(port);
  server.listen_after_bind();
}

}  // namespace ripplegauge::cli
