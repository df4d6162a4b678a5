#pragma once

#include "web/site.hpp"

namespace shaftlog::web {

// Each adds its pages to the router. The site outlives the router.
void add_sign_in_pages(Router& router, Site& site);
void add_fleet_pages(Router& router, Site& site);
void add_ship_pages(Router& router, Site& site);
void add_entry_pages(Router& router, Site& site);
void add_record_pages(Router& router, Site& site);
void add_finding_pages(Router& router, Site& site);
void add_shaft_pages(Router& router, Site& site);
/// Everything the pages show, as JSON below /api.
void add_api(Router& router, Site& site);

}  // namespace shaftlog::web
