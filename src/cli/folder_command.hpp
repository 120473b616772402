// `measure FOLDER`: all photos of a vehicle at once.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "app/folder_run.hpp"
#include "photo_options.hpp"
#include "severity/panel_facts.hpp"

namespace ripplegauge::cli {

struct FolderArguments {
  std::string folder, job_file, json_file, panel_pattern, values_file;
  int threads = 0;  ///< 0: as many as the machine runs at once
  bool no_pictures = false, sets = false;
  int set_gap_s = usual_set_gap_s;
  PhotoArguments photo;
  PanelFacts facts;  ///< of all panels, where the job says nothing of one
};

/// Declares --job, --panel-pattern, --threads and --no-pictures in a group of their own.
void add_folder_options(CLI::App& command, FolderArguments& arguments);

/// Measures what has not been measured yet, into the job photo by photo, and says at the end what is on which
/// panel and which photos were refused. Returns the exit code.
int measure_folder(const FolderArguments& arguments);

}  // namespace ripplegauge::cli
